"""Climate: the same source at the same place, the counter cold and warm.

Answers by how much its rate changes per kelvin. A weighted straight line, relative to its value at
the mean temperature; where the points scatter more than counting explains, the interval is widened
by that scatter and Student's t.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from scipy.special import gammaincc, stdtrit

from counterproof.counting.planning import time_for_relative
from counterproof.quantities import Estimate
from counterproof.quantities.format import format_estimate
from counterproof.records import Chart, Measured, Outcome, Plan, PlannedRun, Row
from counterproof.texts import text
from counterproof.trials import levels as lv
from counterproof.trials.criteria import Profile
from counterproof.trials.judge import judge
from counterproof.trials.shape import Ask, Counter, Evidence, Trial
from counterproof.trials.shared import normal, not_yet, plan_of, points

NAME = "climate"
STEPS_C = (5, 20, 35)
FEWEST = 3
LEAST_SPAN_K = 10.0  # below it room temperature itself wanders too much; common practice, no source


@dataclass(frozen=True)
class Drift:
    """A straight line through rates over temperature.

    Args:
        per_kelvin: relative slope in %/K.
        mean_c: temperature at which it is relative to the rate.
        misfit_p: whether the points lie on the line; ``nan`` with two points.
    """

    per_kelvin: Estimate
    mean_c: float
    misfit_p: float


def plan(ask: Ask) -> Plan:
    """Plan a run at each temperature, after an hour's rest there."""
    minutes = time_for_relative(ask.background_per_s + ask.source_per_s, ask.relative_u) / 60.0
    runs = [
        PlannedRun(
            instrument=ask.subject.name,
            what=text("trials.climate.run", temperature=celsius),
            minutes=minutes,
            sources=ask.sources[:1],
            reason=text("trials.climate.rest"),
        )
        for celsius in STEPS_C
    ]
    return plan_of(TRIAL, runs, text("trials.climate.expected"))


def _used(subject: Counter, evidence: Sequence[Evidence]) -> list[Evidence]:
    return [
        e
        for e in evidence
        if e.counter.name == subject.name and e.number("temperature_c") is not None
    ]


def serves(subject: Counter, evidence: Sequence[Evidence]) -> bool:
    """Whether runs at more than one temperature were noted."""
    return len({e.number("temperature_c") for e in _used(subject, evidence)}) > 1


def analyse(subject: Counter, evidence: Sequence[Evidence], profile: Profile) -> Outcome:
    """Follow the rate over temperature.

    Args:
        subject: the counter under test.
        evidence: runs with the condition ``temperature_c``, everything else the same; where
            sources or places differ, those with the most temperatures are taken.
        profile: its ``drift_per_kelvin`` judges the relative slope in %/K.
    """
    method = text("trials.climate.method")
    nothing = text("trials.climate.nothing", instrument=subject.name)
    runs, warnings = _alike(_used(subject, evidence))
    level = next(
        (
            each
            for each in (lv.count_rate, lv.displayed_dose_rate)
            if runs and all(each(e) is not None for e in runs)
        ),
        None,
    )
    if runs and level is None:
        warnings.append(text("trials.climate.no_signal"))
    warm = sorted({t for e in runs if (t := e.number("temperature_c")) is not None})
    if level is None or len(warm) < 2:
        if level is not None or not runs:
            warnings.append(text("trials.climate.too_few", have=len(warm), need=FEWEST))
        return not_yet(NAME, subject, nothing, warnings, method)
    found = [
        (t, pooled)
        for t in warm
        if (pooled := lv.pool([e for e in runs if e.number("temperature_c") == t], level))
    ]
    if any(pooled.estimate.value <= 0.0 for _, pooled in found):
        return not_yet(NAME, subject, nothing, [*warnings, text("trials.climate.silent")], method)
    drift = drift_of([t for t, _ in found], [pooled.estimate for _, pooled in found])
    enough = len(warm) >= FEWEST and warm[-1] - warm[0] >= LEAST_SPAN_K
    if len(warm) < FEWEST:
        warnings.append(text("trials.climate.too_few", have=len(warm), need=FEWEST))
    if warm[-1] - warm[0] < LEAST_SPAN_K:
        span = f"{warm[-1] - warm[0]:.2g}"
        warnings.append(text("trials.climate.narrow", span=span, need=f"{LEAST_SPAN_K:g}"))
    if drift.misfit_p < 0.01:
        warnings.append(text("trials.climate.misfit", p=f"{drift.misfit_p:.1g}"))
    judgement = judge(
        text("trials.climate.drift", instrument=subject.name),
        drift.per_kelvin,
        # two temperatures cannot tell a drift with temperature from any other change
        profile.criterion("drift_per_kelvin") if enough else None,
        sum(pooled.seconds for _, pooled in found),
    )
    return Outcome(
        trial=NAME,
        instrument=subject.name,
        verdict=judgement.verdict if enough else "cannot tell yet",
        statement=text(
            "trials.climate.statement",
            instrument=subject.name,
            drift=format_estimate(drift.per_kelvin),
            low=f"{warm[0]:g}",
            high=f"{warm[-1]:g}",
        ),
        runs=tuple(e.run.id for e in runs),
        judgements=(judgement,),
        table=tuple(
            Row(
                label=f"{t:g} °C",
                instrument=subject.name,
                values={"rate": Measured.of(pooled.estimate), "rate, from": pooled.how},
            )
            for t, pooled in found
        ),
        charts=(
            Chart(
                question=text("trials.climate.question_drift"),
                x_title=text("trials.climate.axis_temperature"),
                y_title=found[0][1].estimate.unit,
                series=(
                    points(subject.name, [t for t, _ in found], [p.estimate for _, p in found]),
                ),
            ),
        ),
        warnings=tuple(warnings),
        method=method,
    )


def _alike(runs: list[Evidence]) -> tuple[list[Evidence], list[str]]:
    """Keep the runs of the one scene that has the most temperatures."""
    scenes: dict[object, list[Evidence]] = {}
    for e in runs:
        scenes.setdefault((e.run.sources, e.run.position), []).append(e)
    if len(scenes) < 2:
        return runs, []
    best = max(scenes.values(), key=lambda s: len({e.number("temperature_c") for e in s}))
    return best, [text("trials.climate.left_out", runs=len(runs) - len(best))]


def drift_of(temperatures_c: Sequence[float], rates: Sequence[Estimate]) -> Drift:
    """Fit a weighted straight line; slope relative to its value at the weighted mean, in %/K.

    Args:
        temperatures_c: two or more, not all alike.
        rates: positive, with their standard uncertainties.
    """
    x = np.asarray(temperatures_c, dtype=np.float64)
    y = np.array([r.value for r in rates])
    weight = np.array([r.u for r in rates]) ** -2.0
    middle = float((weight * x).sum() / weight.sum())
    level = float((weight * y).sum() / weight.sum())
    spread = float((weight * (x - middle) ** 2).sum())
    slope = float((weight * (x - middle) * y).sum()) / spread
    chi2 = float((weight * (y - level - slope * (x - middle)) ** 2).sum())
    dof = x.size - 2
    p = float(gammaincc(dof / 2.0, chi2 / 2.0)) if dof else math.nan
    relative = slope / level
    u = math.sqrt(1.0 / spread + relative**2 / float(weight.sum())) / level
    counted = [r.counts for r in rates]
    total = None if None in counted else float(sum(c for c in counted if c is not None))
    found = normal(100.0 * relative, 100.0 * u, "%/K", total)
    if dof and chi2 > dof and p < 0.05:
        wide = 100.0 * u * math.sqrt(chi2 / dof)
        half = float(stdtrit(dof, 0.975)) * wide
        value = found.value
        found = Estimate(value, wide, value - half, value + half, 0.95, "%/K", total)
    return Drift(found, middle, p)


TRIAL = Trial(
    name=NAME,
    question=text("trials.climate.question"),
    needs=(text("trials.climate.need_temperatures"), text("trials.climate.need_still")),
    bench_substitute=text("trials.climate.substitute"),
    cautions=(text("trials.climate.caution"), text("trials.caution_sources")),
    plan=plan,
    analyse=analyse,
    serves=serves,
)
