"""What several trials share: outcomes that say what is missing, counts of runs, chart points."""

from __future__ import annotations

from collections.abc import Sequence

from counterproof.quantities import Estimate, coverage_factor
from counterproof.records import Outcome, Plan, PlannedRun, Series
from counterproof.trials.levels import Level, count_rate, displayed_dose_rate, pool
from counterproof.trials.shape import Counter, Evidence, Trial


def not_yet(
    trial: str, subject: Counter, statement: str, warnings: Sequence[str], method: str
) -> Outcome:
    """Return the outcome of evidence that does not suffice, with what is missing as warnings."""
    return Outcome(
        trial=trial,
        instrument=subject.name,
        verdict="cannot tell yet",
        statement=statement,
        runs=(),
        warnings=tuple(dict.fromkeys(warnings)),
        method=method,
    )


def plan_of(trial: Trial, runs: Sequence[PlannedRun], expected: str) -> Plan:
    """Return a plan of runs made one after the other."""
    return Plan(
        trial=trial.name,
        question=trial.question,
        runs=tuple(runs),
        total_minutes=sum(r.minutes for r in runs),
        expected=expected,
        needs=trial.needs,
        bench_substitute=trial.bench_substitute,
        cautions=trial.cautions,
    )


def counts_of(group: Sequence[Evidence]) -> tuple[float, float] | None:
    """Return counts and live time of runs, the time scaled so that their ratio is the true rate."""
    level = pool(group, count_rate)
    if level is None or level.estimate.counts is None:
        return None
    counts, rate = level.estimate.counts, level.estimate.value
    return counts, counts / rate if rate > 0.0 else level.seconds


def common_signal(
    group: Sequence[Evidence], other: Sequence[Evidence]
) -> tuple[Level, Level] | None:
    """Return both groups' levels by one signal that both have: counts, else the display."""
    for level in (count_rate, displayed_dose_rate):
        first, second = pool(group, level), pool(other, level)
        if first is not None and second is not None:
            return first, second
    return None


def normal(value: float, u: float, unit: str = "", counts: float | None = None) -> Estimate:
    """Return an estimate with the symmetric 95 % interval of a normal distribution."""
    half = coverage_factor(0.95) * u
    return Estimate(value, u, value - half, value + half, 0.95, unit, counts)


def points(name: str, x: Sequence[float], y: Sequence[Estimate], role: str = "measured") -> Series:
    """Return chart points with their intervals."""
    return Series(
        name=name,
        role=role,
        x=tuple(x),
        y=tuple(e.value for e in y),
        low=tuple(e.low for e in y),
        high=tuple(e.high for e in y),
    )
