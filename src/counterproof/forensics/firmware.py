"""Infer a firmware from pulses and displayed numbers: the whole way, from runs to an answer."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from counterproof.errors import UserError
from counterproof.forensics.adequacy import (
    CERTAIN_KIND,
    COUPLED,
    FEWEST_NUMBERS,
    FEWEST_PULSES,
    FEWEST_READINGS,
    UNRELATED_LOSS,
    coupling,
    crossed_both_ways,
    loss_limits,
    loss_share,
    one_level,
    plausible,
    ratio_of_means,
)
from counterproof.forensics.answer import (
    UNDETERMINED,
    Hypothesis,
    ReadoutFit,
    between,
    bracket,
    either_way,
    quantum_of,
)
from counterproof.forensics.clocks import Refresh, level_changes, silences, tidy
from counterproof.forensics.hypotheses import Weighed, choose, power_of, readings_used, weigh
from counterproof.forensics.lattice import Lattice, find_step, printed_step
from counterproof.forensics.likelihood import Structure
from counterproof.forensics.paired import Joined, PairedRun, join
from counterproof.forensics.sampler import Chain, climb, sample
from counterproof.forensics.search import (
    Candidate,
    best_start,
    coarse,
    own_offsets,
    refine,
    shake,
    without_strays,
)
from counterproof.forensics.shapes import BOXCAR, EXPONENTIAL, FAMILY, FIXED, TICKED, Rates
from counterproof.forensics.statements import Circumstances, found, missing, shown
from counterproof.progress import Report, silent
from counterproof.progress import step as tell
from counterproof.texts import text

Floats = NDArray[np.float64]
Fitted = tuple[Candidate, Rates, Weighed]

SWEEPS = 1500
RESET_GAIN = 0.1
"""Log likelihood per reading by which a display reset at every level must explain them better."""
RESOLVING_U = 0.3
"""Share by which the correction for pulses heard as one may be wrong (whether a merged pulse
prolongs the resolving time is not known)."""
TWO = Structure(factors=2)


@dataclass(frozen=True, eq=False)
class Prepared:
    """Runs made ready: one axis, regular times, gaps known, the display's step read off."""

    data: Joined
    lattice: Lattice | None
    step: float
    refresh: Refresh | None
    silent_s: float
    resolving_time_s: float


def prepare(runs: Sequence[PairedRun], own_clocks: bool = False) -> Prepared:
    """Tidy clocks, mark silences and find the display's step."""
    ready, refreshes, lost = [], [], 0.0
    for run in runs:
        tidied, refresh = tidy(run)
        quiet = silences(run.pulse_times_s, run.duration_s)
        lost += float((quiet[:, 1] - quiet[:, 0]).sum())
        ready.append(replace(tidied, gaps_s=np.concatenate((run.gaps_s, quiet))))
        refreshes.append(refresh)
    data = join(ready, own_clocks)
    lattice = find_step(data.values)
    step = lattice.step if lattice else printed_step(data.values)
    known = [r for r in refreshes if r is not None]
    weights = [r.pulse_times_s.size + 1 for r in runs]
    resolving = float(np.average([r.resolving_time_s for r in runs], weights=weights))
    return Prepared(data, lattice, step, known[0] if known else None, lost, resolving)


def best_kind(
    ready: Prepared, reach_s: float, rng: np.random.Generator, report: Report
) -> list[Fitted]:
    """Fit every kind of estimator with two factors; the likeliest comes first."""
    data, step = ready.data, ready.step
    everything = plausible(data.values, data.run, step)
    offset = coarse(data, everything, step, reach_s, ready.resolving_time_s)[1]
    fitted: list[Fitted] = []
    for i, kind in enumerate((BOXCAR, EXPONENTIAL, TICKED, FIXED)):
        tell(report, i + 1, 10)
        rates = Rates(data.pulses, kind, ready.resolving_time_s)
        start = best_start(data, rates, offset, everything, step)
        rough = refine(data, rates, start, everything, step, 1e-2)
        if not np.isfinite(rough.cost):
            continue
        offsets = own_offsets(data, rates, rough, everything, step, reach_s)
        rough = replace(rough, offsets=offsets)
        keep = without_strays(data, rates, rough, step)
        fine = refine(data, rates, (rough.shape, rough.offsets), keep, step)
        fine = replace(fine, offsets=own_offsets(data, rates, fine, keep, step, 0.9))
        if not fitted or fine.cost < min(f[0].cost for f in fitted) + 1.0:
            fine = shake(data, rates, fine, keep, step, rng)
        if readings_used(data, fine, step).sum() < FEWEST_READINGS:
            continue
        rates.settle(fine.shape, 0.02)
        fitted.append((fine, rates, weigh(data, rates, fine, step, TWO, 60, rng)))
    fitted.sort(key=lambda f: -f[2].log_likelihood / max(f[2].posterior.at.size, 1))
    return fitted


def fit_readout(
    runs: Sequence[PairedRun],
    pulses_per_click: int = 1,
    own_clocks: bool = False,
    reach_s: float = 130.0,
    seed: int = 20250117,
    sweeps: int = SWEEPS,
    report: Report = silent,
) -> ReadoutFit:
    """Infer the firmware behind paired pulses and readings.

    Args:
        runs: one or several stretches; several levels may lie in one run or in many.
        pulses_per_click: how many pulses stand behind each given event.
        own_clocks: the clocks of pulses and readings were set anew for every run.
        reach_s: largest clock offset between pulses and readings that is tried, s.
        seed: seed of the sampler; the same runs and seed give the same answer.
        sweeps: samples behind the intervals.
        report: progress, asked between hypotheses.

    Returns:
        The simplest adequate model with 95 % intervals, the evidence and what is missing. Where
        the runs do not suffice the answer is weaker and says why; it is never an error.

    Raises:
        UserError: if ``runs`` is empty.
        Cancelled: if ``report`` answers ``False``.
    """
    if not runs:
        raise UserError(text("forensics.no_readings"))
    rng = np.random.default_rng(seed)
    ready = prepare(runs, own_clocks)
    short = insufficient(ready)
    if short:
        return weak_answer(ready, short, means=False)
    kinds = best_kind(ready, reach_s, rng, report)
    if ready.lattice and ready.lattice.coarser and exact_share(kinds) < 0.5:
        step = ready.lattice.coarser
        again = Lattice(step, step, step, ready.lattice.distinct)
        ready = replace(ready, lattice=again, step=step)
        kinds = best_kind(ready, reach_s, rng, report)
    restarted = False
    if exact_share(kinds) < 0.97:
        ready, kinds, restarted = started_anew(ready, kinds, reach_s, rng, report)
    coupled = max((coupling(ready.data, k[1], k[0], ready.step) for k in kinds[:1]), default=0.0)
    if coupled < COUPLED:
        unrelated = text("forensics.not_coupled", reach=f"{reach_s:.0f}")
        return weak_answer(ready, (unrelated,), means=one_level(ready.data))
    candidate, rates, two = kinds[0]
    lead, rival = kind_lead(kinds)
    tell(report, 5, 10)
    chosen, weighed, power = choose(ready.data, rates, candidate, ready.step, two, rng)
    if loss_share(chosen) > UNRELATED_LOSS:
        unrelated = text("forensics.not_coupled", reach=f"{reach_s:.0f}")
        return weak_answer(ready, (unrelated,), means=one_level(ready.data))
    chosen.posterior.power = power
    tell(report, 7, 10)
    warmed = climb(chosen.posterior, chosen.chain.best, chosen.chain.scales, 250, rng)
    tell(report, 8, 10)
    chain = sample(chosen.posterior, warmed, sweeps, rng)
    tell(report, 10, 10)
    answer = _parameters(runs, ready, candidate, chosen, chain, pulses_per_click)
    answer = replace(
        answer,
        hypotheses=tuple(
            Hypothesis(w.structure, w.log_likelihood * power, w.score(answer.readings, power))
            for w in weighed
        ),
        kind_log_lead=lead,
        kind_rival=rival,
        independent_share=power,
    )
    if lead < CERTAIN_KIND:
        answer = replace(answer, kind=UNDETERMINED, time_constant=None, window_pulses=None)
    strays = chosen.posterior.stray_share(chain.best)
    one_way = answer.switch is not None and not (
        chosen.structure.hysteresis or crossed_both_ways(chosen)
    )
    about = Circumstances(
        one_level(ready.data), ready.silent_s, strays, reach_s, restarted, one_way
    )
    return replace(answer, statements=found(answer, about), missing=missing(answer, about))


def started_anew(
    ready: Prepared, kinds: list[Fitted], reach_s: float, rng: np.random.Generator, report: Report
) -> tuple[Prepared, list[Fitted], bool]:
    """Return the better of two views: one continuous stretch, or a display reset at every level."""
    changes = level_changes(ready.data)
    if changes.size == 0 or not kinds:
        return ready, kinds, False
    cut = replace(ready.data, gaps=np.concatenate((ready.data.gaps, changes)))
    again = replace(ready, data=cut)
    others = best_kind(again, reach_s, rng, report)
    if not others:
        return ready, kinds, False
    before, after = (k[0][2].log_likelihood / k[0][2].posterior.at.size for k in (kinds, others))
    if after < before + RESET_GAIN or others[0][2].posterior.at.size < FEWEST_READINGS:
        return ready, kinds, False
    return again, others, True


def insufficient(ready: Prepared) -> tuple[str, ...]:
    """Return why the runs cannot carry an inference, empty if they may."""
    data = ready.data
    if data.values.size == 0:
        return (text("forensics.no_readings"),)
    if data.pulses.size == 0:
        return (text("forensics.no_pulses"),)
    said = []
    n, shown = data.values.size, np.unique(data.values).size
    if n < FEWEST_READINGS:
        said.append(text("forensics.few_readings", n=n, needed=FEWEST_READINGS))
    if data.pulses.size < FEWEST_PULSES:
        said.append(text("forensics.few_pulses", n=data.pulses.size))
    if shown < FEWEST_NUMBERS:
        said.append(text("forensics.few_numbers", n=shown))
    return tuple(said)


def weak_answer(ready: Prepared, reasons: tuple[str, ...], means: bool) -> ReadoutFit:
    """Return what can be said without an inference: the display's step, perhaps a ratio of means.

    The ratio of means is one factor only in a steady field, so it is given as a sentence and never
    as the answer.
    """
    data = ready.data
    ratio = ratio_of_means(data) if means or one_level(data) else None
    told = (text("forensics.means_only", factor=shown(ratio)),) if ratio is not None else ()
    values = data.values
    seen = (float(values.min()), float(values.max())) if values.size else (0.0, 0.0)
    return ReadoutFit(
        kind=UNDETERMINED,
        quantum=quantum_of(ready.lattice),
        refresh=ready.refresh,
        readings=int(values.size),
        pulses=int(data.pulses.size),
        seen_usv_h=seen,
        statements=told,
        missing=reasons,
    )


def exact_share(kinds: Sequence[Fitted]) -> float:
    """Return the share of readings that the best fit so far reproduces to the last digit."""
    if not kinds:
        return 0.0
    _, _, best = kinds[0]
    return float(np.mean(best.posterior.excess(best.chain.best) == 0.0))


def kind_lead(kinds: Sequence[Fitted]) -> tuple[float, str]:
    """Return by what log likelihood ratio the best kind leads the best other, and that other."""
    candidate, _, best = kinds[0]
    n = best.posterior.at.size
    power = power_of(best)
    rivals = [k for k in kinds if FAMILY[k[0].kind] != FAMILY[candidate.kind]]
    if not rivals:
        return np.inf, ""
    each = [k[2].log_likelihood / max(k[2].posterior.at.size, 1) for k in rivals]
    nearest = int(np.argmax(each))
    lead = power * n * (best.log_likelihood / max(n, 1) - each[nearest])
    return float(lead), FAMILY[rivals[nearest][0].kind]


def _lost_shares(
    runs: Sequence[PairedRun], ready: Prepared, chosen: Weighed, loss: float
) -> list[float]:
    """Return for each range the share of pulses by which its factor may be off, either way."""
    posterior, best = chosen.posterior, chosen.chain.best
    unheard = float(np.mean([r.efficiency_u / r.efficiency for r in runs]))
    merged = posterior.counted(best)[0] / 60.0 * ready.resolving_time_s
    return [
        max(limit, 1.96 * unheard, RESOLVING_U * float(np.mean(merged[part])) if part.any() else 0)
        for limit, part in zip(loss_limits(chosen, loss), posterior.ranges(best), strict=True)
    ]


def _parameters(
    runs: Sequence[PairedRun],
    ready: Prepared,
    candidate: Candidate,
    chosen: Weighed,
    chain: Chain,
    pulses_per_click: int,
) -> ReadoutFit:
    """Turn samples into physical parameters with intervals."""
    posterior = chosen.posterior
    named = posterior.named(chain.samples)
    loss = loss_share(chosen)
    to_pulses = pulses_per_click / float(np.mean([r.efficiency for r in runs]))
    names = [n for n in ("factor", "factor_high") if n in named]
    lost = _lost_shares(runs, ready, chosen, loss)
    values = posterior.values
    return ReadoutFit(
        kind=FAMILY[candidate.kind],
        structure=chosen.structure,
        factors=tuple(
            either_way(between(named[n] * to_pulses, "cpm/(µSv/h)"), share)
            for n, share in zip(names, lost, strict=True)
        ),
        switch=bracket(named["switch"] / named["factor"], "µSv/h") if "switch" in named else None,
        time_constant=None if candidate.kind == FIXED else between(named["shape"], "s"),
        window_pulses=round(candidate.shape) if candidate.kind == FIXED else None,
        quantum=quantum_of(ready.lattice),
        refresh=ready.refresh,
        clock_offsets=tuple(between(named[f"offset_{i}"], "s") for i in range(ready.data.clocks)),
        readings=int(values.size),
        pulses=int(ready.data.pulses.size),
        exact_share=float(np.mean(posterior.excess(chain.best) == 0.0)),
        loss_share=loss,
        seen_usv_h=(float(values.min()), float(values.max())),
        hysteresis=between(named["hysteresis"], "") if "hysteresis" in named else None,
        dead_time=between(named["dead_time"], "s") if "dead_time" in named else None,
        background=between(named["background"], "cpm") if "background" in named else None,
    )
