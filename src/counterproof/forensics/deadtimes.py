"""Dead time of a counter from its runs, by up to four methods, and whether they agree.

* *intervals*: the shortest interval of a pulse line (a recording's clicks are too long for it);
* *two sources*: two sources one by one and together at one place;
* *decaying source*: one source at one place while it decays;
* *dose-rate ladder*: one source at several places of known dose rate.

The last two are series of known relative rates and carry the hybrid model as well: a dead time of
which a share prolongs itself (is paralysable). The share is tried in steps; the best is given with
the shares that fit as well within a deviance of 3.84.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass, field

import numpy as np
from numpy.typing import NDArray

from counterproof.counting.deadtime import DeadTime
from counterproof.counting.deadtime_compare import DeadTimeComparison, compare_dead_times
from counterproof.counting.deadtime_intervals import dead_time_from_intervals
from counterproof.counting.deadtime_series import SeriesFit, dead_time_from_ladder
from counterproof.counting.deadtime_sources import dead_time_from_two_sources
from counterproof.counting.ratefit import fit_rates
from counterproof.errors import UserError
from counterproof.forensics.interference import waits_of
from counterproof.forensics.places import open_background, relative_dose
from counterproof.quantities import Estimate
from counterproof.trials.rungs import ladders
from counterproof.trials.shape import Counter, Evidence

Floats = NDArray[np.float64]

SHARP_S = 20e-6
"""Resolving time up to which a recording shows a tube's own dead time."""
FEWEST_WAITS = 300
DECAYED = 0.25
"""Share of a half-life that a decaying source must be followed for."""
BINS = 24
LEVELS = 4
SHARES = np.linspace(0.0, 1.0, 21)
WITHIN = 3.84
"""Deviance within which a share of the hybrid model is held possible (χ² of one parameter)."""
PLACE_U = 0.01
"""Relative standard uncertainty of a level, positions included, beside its own counting."""


@dataclass(frozen=True, eq=False)
class Series:
    """Counts at known relative rates.

    Args:
        name: the method's name.
        relative: relative true net rates, shape (n,).
        counts: counts, shape (n,).
        live_s: counting times, shape (n,).
        relative_u: relative standard uncertainty of each rate.
        runs: ids.
    """

    name: str
    relative: Floats
    counts: Floats
    live_s: Floats
    relative_u: float
    runs: tuple[str, ...]


@dataclass(frozen=True, eq=False)
class Hybrid:
    """The hybrid model fitted to a series.

    Args:
        tau_n_s: non-paralysable part.
        tau_p_s: paralysable part.
        shares: least and most paralysable share of the whole that fits within 3.84.
        chi2: of the best.
        lead: deviance by which the best beats the better of both pure models.
    """

    tau_n_s: float
    tau_p_s: float
    shares: tuple[float, float]
    chi2: float
    lead: float


@dataclass(frozen=True, eq=False)
class DeadTimes:
    """What the methods give, in s.

    Args:
        each: dead time by method.
        runs: ids behind each.
        together: their comparison; ``None`` for fewer than two.
        hybrid: the hybrid model over the richest series; ``None`` without one.
        failed: methods that had runs and no answer.
    """

    each: dict[str, Estimate] = field(default_factory=dict)
    runs: dict[str, tuple[str, ...]] = field(default_factory=dict)
    together: DeadTimeComparison | None = None
    hybrid: Hybrid | None = None
    failed: tuple[str, ...] = ()


def dead_times(counter: Counter, evidence: Sequence[Evidence]) -> DeadTimes:
    """Apply every method that the runs allow.

    Args:
        counter: the counter under test.
        evidence: its own runs and those of references.
    """
    own = [e for e in evidence if e.counter.name == counter.name and not e.run.is_altered]
    series = [s for s in (_decaying(own), _ladder(counter, own, evidence)) if s is not None]
    tried: dict[str, tuple[Callable[[], Estimate], tuple[str, ...]]] = {}
    sharp = _sharpest(own)
    if sharp is not None and sharp.pulses is not None:
        waits = waits_of(sharp.pulses)
        tried["intervals"] = (lambda: dead_time_from_intervals(waits), (sharp.run.id,))
    pair = _two_sources(own)
    if pair is not None:
        counts, live, ids = pair
        tried["two sources"] = (lambda: dead_time_from_two_sources(counts, live).tau, ids)
    background = _counts([e for e in own if open_background(e)])
    for each in series:
        tried[each.name] = (lambda s=each: _of_series(s, background).tau, each.runs)  # type: ignore[misc]
    found, runs, failed = {}, {}, []
    for name, (method, ids) in tried.items():
        try:
            found[name], runs[name] = method(), ids
        except UserError:
            failed.append(name)
    usable = {k: e for k, e in found.items() if np.isfinite(e.value) and 0.0 < e.u < np.inf}
    together = compare_dead_times(usable) if len(usable) > 1 else None
    richest = max(series, key=lambda s: float(s.counts.sum()), default=None)
    hybrid = None if richest is None else fit_hybrid(richest, background)
    return DeadTimes(found, runs, together, hybrid, tuple(failed))


def _counts(group: Sequence[Evidence]) -> tuple[float, float]:
    """Observed counts and live time of runs; dead time is what is looked for, so none is undone."""
    n, t = 0.0, 0.0
    for e in group:
        log = e.pulses or e.counts
        if log is not None:
            n, t = n + log.count, t + log.live_s
    return n, t


def _sharpest(own: Sequence[Evidence]) -> Evidence | None:
    """The run whose shortest interval tells most: the most pulses at the highest rate."""
    sharp = [
        e
        for e in own
        if e.pulses is not None
        and e.pulses.resolving_time_s <= SHARP_S
        and e.pulses.efficiency >= 0.999
        and e.pulses.count > FEWEST_WAITS
    ]
    return max(sharp, key=lambda e: _counts([e])[0] ** 2 / _counts([e])[1], default=None)


def _two_sources(
    own: Sequence[Evidence],
) -> (
    tuple[tuple[float, float, float, float], tuple[float, float, float, float], tuple[str, ...]]
    | None
):
    """Counts and times of two sources, both, and none, with the ids of the runs."""
    near = [e for e in own if e.run.position.is_open and (e.pulses or e.counts)]
    for both in (e for e in near if len(e.run.sources) == 2):
        groups = [
            [
                e
                for e in near
                if e.run.sources in wanted
                and e.run.position.distance_mm == both.run.position.distance_mm
            ]
            for wanted in (
                {both.run.sources[:1]},
                {both.run.sources[1:]},
                {both.run.sources, both.run.sources[::-1]},
            )
        ]
        groups.append([e for e in near if open_background(e)])
        if all(groups):
            (n1, t1), (n2, t2), (n12, t12), (nb, tb) = (_counts(g) for g in groups)
            ids = tuple(e.run.id for g in groups for e in g)
            return (n1, n2, n12, nb), (t1, t2, t12, tb), ids
    return None


def _decaying(own: Sequence[Evidence]) -> Series | None:
    """Counts of one source at one place while it decayed."""
    from counterproof.physics.decaydata import half_life_s

    groups: dict[object, list[Evidence]] = {}
    for e in own:
        if e.run.with_source and len(e.nuclides) == 1 and (e.pulses or e.counts):
            p = e.run.position
            key = (e.run.sources, p.distance_mm, p.angle_deg, p.absorbers)
            groups.setdefault(key, []).append(e)
    for group in groups.values():
        try:
            half = half_life_s(group[0].nuclides[0])
        except UserError:
            continue
        start = min(e.run.started_utc for e in group)
        pieces = [p for e in group for p in _pieces(e, (e.run.started_utc - start).total_seconds())]
        at, length, counts = (np.array(x) for x in zip(*pieces, strict=True))
        if (at + length).max() < DECAYED * half or counts.size < LEVELS:
            continue
        lam = np.log(2.0) / half
        relative = np.exp(-lam * at) * -np.expm1(-lam * length) / (lam * length)
        ids = tuple(e.run.id for e in group)
        return Series("decaying source", relative, counts, length, 0.0, ids)
    return None


def _pieces(e: Evidence, offset_s: float) -> list[tuple[float, float, float]]:
    """A run cut into pieces: start, length, counts."""
    if e.pulses is not None:
        edges = np.linspace(0.0, e.pulses.duration_s, BINS + 1)
        if e.pulses.gaps_s.size:
            edges = edges[[0, -1]]
        counts = np.histogram(e.pulses.times_s, edges)[0].astype(np.float64)
        live = np.diff(edges) * e.pulses.live_s / e.pulses.duration_s
        return list(
            zip((edges[:-1] + offset_s).tolist(), live.tolist(), counts.tolist(), strict=True)
        )
    assert e.counts is not None
    log = e.counts
    parts = np.array_split(np.arange(log.counts.size), min(BINS, log.counts.size))
    return [
        (
            float(log.starts_s[p[0]]) + offset_s,
            float(log.durations_s[p].sum()),
            float(log.counts[p].sum()),
        )
        for p in parts
    ]


def _ladder(
    counter: Counter, own: Sequence[Evidence], evidence: Sequence[Evidence]
) -> Series | None:
    """Counts of one source at places whose relative dose rate a reference or physics gives."""
    best: Series | None = None
    for source, levels in ladders([e for e in own if e.pulses or e.counts]).items():
        rows = []
        for at, group in levels.items():
            truth = relative_dose(((source,), at), counter, evidence, group)
            if truth is not None and truth.value > 0.0:
                rows.append((truth, *_counts(group), tuple(e.run.id for e in group)))
        if len(rows) < LEVELS:
            continue
        u = float(np.median([r[0].relative_u for r in rows]))
        series = Series(
            "dose-rate ladder",
            np.array([r[0].value for r in rows]),
            np.array([r[1] for r in rows]),
            np.array([r[2] for r in rows]),
            float(np.hypot(u, PLACE_U)),
            tuple(i for r in rows for i in r[3]),
        )
        if best is None or series.counts.sum() > best.counts.sum():
            best = series
    return best


def _of_series(series: Series, background: tuple[float, float]) -> SeriesFit:
    n, t = background
    return dead_time_from_ladder(
        series.relative,
        series.counts,
        series.live_s,
        n,
        t if t > 0.0 else None,
        reference_u_rel=series.relative_u,
        method=series.name,
    )


def fit_hybrid(series: Series, background: tuple[float, float]) -> Hybrid | None:
    """Fit m = n e^(−nτ_P)/(1 + nτ_N) over a series, the paralysable share tried in steps.

    Returns:
        The best split; ``None`` for too few points or where no fit settles.
    """
    if series.counts.size < LEVELS:
        return None
    n_b, t_b = background
    counts, live = series.counts, series.live_s
    if t_b > 0.0:
        counts, live = np.append(counts, n_b), np.append(live, t_b)
    base = n_b / t_b if t_b > 0.0 else 0.0
    rates = series.counts / series.live_s
    scale = float(np.median(np.maximum(rates - base, 0.1 * rates.max()) / series.relative))
    size = series.counts.size

    def law(theta: Floats) -> Floats:
        source = theta[0] * series.relative
        return np.append(source + theta[1], theta[1]) if t_b > 0.0 else np.asarray(source)

    def from_places(theta: Floats) -> Floats:
        share = (
            series.relative_u * theta[0] * series.relative / np.maximum(law(theta)[:size], 1e-30)
        )
        return np.append(share, 0.0) if t_b > 0.0 else np.asarray(share)

    start = np.array([scale, base]) if t_b > 0.0 else np.array([scale])
    curve, taus = np.full(SHARES.size, np.inf), np.zeros(SHARES.size)
    guess = 0.1 / float(rates.max())
    for i, share in enumerate(SHARES):
        try:
            fit = fit_rates(
                law,
                start,
                counts,
                live,
                dead=lambda tau, s=share: DeadTime(tau * (1.0 - s), tau * s),  # type: ignore[misc]
                tau_start_s=guess,
                position_u_rel=from_places if series.relative_u > 0.0 else None,
                lower=np.zeros(start.size),
            )
        except UserError:
            continue
        curve[i], taus[i] = fit.chi2, fit.parameters[-1]
        # the next share begins where this one ended
        start, guess = fit.parameters[:-1], max(float(fit.parameters[-1]), 1e-9)
    if not np.isfinite(curve).any():
        return None
    best = int(np.argmin(curve))
    near = SHARES[curve <= curve[best] + WITHIN]
    tau, share = float(taus[best]), float(SHARES[best])
    lead = float(min(curve[0], curve[-1]) - curve[best])
    ends = (float(near.min()), float(near.max()))
    return Hybrid(tau * (1.0 - share), tau * share, ends, float(curve[best]), lead)
