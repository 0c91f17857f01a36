"""Infer a firmware from pulses and displayed numbers: the whole way, from runs to an answer."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from counterproof.forensics.answer import Hypothesis, ReadoutFit, between
from counterproof.forensics.clocks import Refresh, silences, tidy
from counterproof.forensics.hypotheses import Weighed, choose, power_of, weigh
from counterproof.forensics.lattice import Lattice, find_step, printed_step
from counterproof.forensics.likelihood import Structure
from counterproof.forensics.paired import Joined, PairedRun, join
from counterproof.forensics.sampler import Chain, climb, sample
from counterproof.forensics.search import Candidate, coarse, refine, without_strays
from counterproof.forensics.shapes import BOXCAR, EXPONENTIAL, FAMILY, FIXED, TICKED, Rates
from counterproof.progress import Report, silent
from counterproof.progress import step as tell
from counterproof.quantities import Estimate

Floats = NDArray[np.float64]

SWEEPS = 2000
TWO = Structure(factors=2)


@dataclass(frozen=True, eq=False)
class Prepared:
    """Runs made ready: one axis, regular times, gaps known, the display's step read off."""

    data: Joined
    lattice: Lattice | None
    step: float
    refresh: Refresh | None
    silent_s: float


def prepare(runs: Sequence[PairedRun]) -> Prepared:
    """Tidy clocks, mark silences and find the display's step."""
    ready, refreshes, lost = [], [], 0.0
    for run in runs:
        tidied, refresh = tidy(run)
        quiet = silences(run.pulse_times_s, run.duration_s)
        lost += float((quiet[:, 1] - quiet[:, 0]).sum())
        ready.append(replace(tidied, gaps_s=np.concatenate((run.gaps_s, quiet))))
        refreshes.append(refresh)
    data = join(ready)
    lattice = find_step(data.values)
    step = lattice.step if lattice else printed_step(data.values)
    known = [r for r in refreshes if r is not None]
    return Prepared(data, lattice, step, known[0] if known else None, lost)


def best_kind(
    ready: Prepared, reach_s: float, rng: np.random.Generator, report: Report
) -> list[tuple[Candidate, Rates, Weighed]]:
    """Fit every kind of estimator with two factors; the likeliest comes first."""
    data, step = ready.data, ready.step
    everything = np.ones(data.at.size, dtype=bool)
    window, offset = coarse(data, everything, step, reach_s)
    rate = data.pulses.size / max(float((data.ends - data.starts).sum()), 1.0)
    starts = {
        BOXCAR: window,
        EXPONENTIAL: 0.5 * window,
        TICKED: 0.5 * window,
        FIXED: float(np.clip(window * rate, 3.0, 500.0)),
    }
    found = []
    for i, (kind, shape) in enumerate(starts.items()):
        tell(report, i + 1, 10)
        rates = Rates(data.pulses, kind)
        rough = refine(data, rates, (shape, np.full(data.runs, offset)), everything, step, 1e-2)
        if not np.isfinite(rough.cost):
            continue
        keep = without_strays(data, rates, rough, step)
        fine = refine(data, rates, (rough.shape, rough.offsets), keep, step)
        rates.settle(fine.shape, 0.02)
        found.append((fine, rates, weigh(data, rates, fine, step, TWO, 60, rng)))
    found.sort(key=lambda f: -f[2].log_likelihood / max(f[2].posterior.at.size, 1))
    return found


def fit_readout(
    runs: Sequence[PairedRun],
    pulses_per_click: int = 1,
    reach_s: float = 130.0,
    seed: int = 20250117,
    sweeps: int = SWEEPS,
    report: Report = silent,
) -> ReadoutFit:
    """Infer the firmware behind paired pulses and readings.

    Args:
        runs: one or several stretches; several levels may lie in one run or in many.
        pulses_per_click: how many pulses stand behind each given event.
        reach_s: largest clock offset between pulses and readings that is tried, s.
        seed: seed of the sampler; the same runs and seed give the same answer.
        sweeps: samples behind the intervals.
        report: progress, asked between hypotheses.

    Returns:
        The simplest adequate model with 95 % intervals, the evidence and what is missing.
    """
    rng = np.random.default_rng(seed)
    ready = prepare(runs)
    kinds = best_kind(ready, reach_s, rng, report)
    candidate, rates, two = kinds[0]
    power = power_of(two)
    rivals = [k for k in kinds if FAMILY[k[0].kind] != FAMILY[candidate.kind]]
    per_reading = two.log_likelihood / max(two.posterior.at.size, 1)
    lead = min(
        (
            power
            * two.posterior.at.size
            * (per_reading - r[2].log_likelihood / max(r[2].posterior.at.size, 1))
            for r in rivals
        ),
        default=np.inf,
    )
    tell(report, 5, 10)
    chosen, weighed, power = choose(ready.data, rates, candidate, ready.step, two, rng)
    chosen.posterior.power = power
    tell(report, 7, 10)
    warmed = climb(chosen.posterior, chosen.chain.best, chosen.chain.scales, 250, rng)
    tell(report, 8, 10)
    chain = sample(chosen.posterior, warmed, sweeps, rng)
    tell(report, 10, 10)
    return _answer(runs, ready, candidate, chosen, weighed, chain, power, lead, pulses_per_click)


def _answer(
    runs: Sequence[PairedRun],
    ready: Prepared,
    candidate: Candidate,
    chosen: Weighed,
    weighed: Sequence[Weighed],
    chain: Chain,
    power: float,
    lead: float,
    pulses_per_click: int,
) -> ReadoutFit:
    """Turn samples into physical parameters with intervals."""
    posterior = chosen.posterior
    named = posterior.named(chain.samples)
    share = float(np.mean([r.efficiency for r in runs]))
    to_pulses = pulses_per_click / share
    first = named["factor"] * to_pulses
    factors = [between(first, "cpm/(µSv/h)")]
    switch = None
    if "factor_high" in named:
        factors.append(between(named["factor_high"] * to_pulses, "cpm/(µSv/h)"))
        switch = between(named["switch"] / named["factor"], "µSv/h")
    readings = posterior.at.size
    time_constant = None if candidate.kind == FIXED else between(named["shape"], "s")
    lattice = ready.lattice
    quantum = None
    if lattice is not None:
        u = (lattice.high - lattice.low) / 3.92
        quantum = Estimate(
            lattice.step, u, lattice.low, lattice.high, 0.95, "µSv/h", lattice.distinct, "lattice"
        )
    best = chain.best
    exact = float(np.mean(posterior.excess(best) == 0.0))
    return ReadoutFit(
        kind=FAMILY[candidate.kind],
        structure=chosen.structure,
        factors=tuple(factors),
        switch=switch,
        time_constant=time_constant,
        window_pulses=round(candidate.shape) if candidate.kind == FIXED else None,
        quantum=quantum,
        refresh=ready.refresh,
        clock_offsets=tuple(between(named[f"offset_{i}"], "s") for i in range(ready.data.runs)),
        hysteresis=between(named["hysteresis"], "") if "hysteresis" in named else None,
        dead_time=between(named["dead_time"], "s") if "dead_time" in named else None,
        background=between(named["background"], "cpm") if "background" in named else None,
        hypotheses=tuple(
            Hypothesis(w.structure, w.log_likelihood * power, w.score(readings, power))
            for w in weighed
        ),
        kind_log_lead=float(lead),
        readings=int(readings),
        exact_share=exact,
        independent_share=power,
    )
