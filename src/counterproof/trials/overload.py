"""Overload: pulses from a generator (or simulated) beyond what the counter can follow.

Answers whether the display folds back, that is shows little where there is much. Injected pulses or
simulation only: runs with a source are set aside, and nothing here ever asks for a stronger one.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from counterproof.quantities import Estimate
from counterproof.quantities.format import format_estimate
from counterproof.quantities.units import convert
from counterproof.records import Chart, Judgement, Measured, Outcome, Plan, PlannedRun, Row
from counterproof.texts import text
from counterproof.trials import levels as lv
from counterproof.trials.criteria import Profile
from counterproof.trials.judge import judge
from counterproof.trials.shape import Ask, Counter, Evidence, Trial
from counterproof.trials.shared import not_yet, plan_of, points

NAME = "overload"
STEPS_PER_S = (10, 100, 1000, 5000, 20000, 100000)
HOLD_S = 30.0  # how long an overload is to be shown; common practice, no source
FOLDS = 3.0  # standard uncertainties of a fall that count; common practice, no source
FOLLOWS = 0.8  # share of proportionality above which the display still follows


@dataclass(frozen=True)
class Step:
    """One injected rate: what was shown, on average and at least."""

    injected_per_s: float
    shown: lv.Level
    least: float
    seconds: float


def plan(ask: Ask) -> Plan:
    """Plan a run of a minute at each injected rate."""
    runs = [
        PlannedRun(
            instrument=ask.subject.name,
            what=text("trials.overload.run", rate=rate),
            minutes=1.0,
            reason=text("trials.overload.hold"),
        )
        for rate in STEPS_PER_S
    ]
    return plan_of(TRIAL, runs, text("trials.overload.expected"))


def _used(subject: Counter, evidence: Sequence[Evidence]) -> list[Evidence]:
    return [
        e
        for e in evidence
        if e.counter.name == subject.name and e.number("injected_per_s") is not None
    ]


def serves(subject: Counter, evidence: Sequence[Evidence]) -> bool:
    """Whether pulses were injected in any run."""
    return bool(_used(subject, evidence))


def analyse(subject: Counter, evidence: Sequence[Evidence], profile: Profile) -> Outcome:
    """Follow the display over injected rates.

    Args:
        subject: the counter under test; its ``claims["range_top_usv_h"]`` is the end of its
            range, else the most that it showed at lower rates.
        evidence: runs with the condition ``injected_per_s`` and no source.
        profile: its ``overload_floor`` judges the least shown in overload over the range's end.
    """
    runs = _used(subject, evidence)
    warnings: list[str] = []
    if any(e.run.sources for e in runs):
        warnings.append(text("trials.overload.with_source"))
        runs = [e for e in runs if not e.run.sources]
    steps, unit = _steps(runs)
    method = text("trials.overload.method")
    if len(steps) < 2:
        warnings.append(text("trials.overload.too_few", have=len(steps)))
        nothing = text("trials.overload.nothing", instrument=subject.name)
        return not_yet(NAME, subject, nothing, warnings, method)
    fold = fold_back(steps)
    judgement, missing = _judged(subject, steps, unit, profile, fold is not None)
    warnings += missing
    if fold is not None:
        top, below = fold
        statement = text(
            "trials.overload.folds",
            instrument=subject.name,
            most=format_estimate(top.shown.estimate),
            at=f"{top.injected_per_s:g}",
            less=format_estimate(below.shown.estimate),
            beyond=f"{below.injected_per_s:g}",
        )
        warnings.append(text("trials.overload.danger"))
    elif follows(steps):
        statement = text(
            "trials.overload.follows",
            instrument=subject.name,
            rate=f"{steps[-1].injected_per_s:g}",
        )
    else:
        statement = text(
            "trials.overload.saturates",
            instrument=subject.name,
            rate=f"{steps[-1].injected_per_s:g}",
        )
    return Outcome(
        trial=NAME,
        instrument=subject.name,
        verdict=judgement.verdict if judgement else "cannot tell yet",
        statement=statement,
        runs=tuple(e.run.id for e in runs),
        judgements=(judgement,) if judgement else (),
        table=tuple(_row(subject, step, steps[0]) for step in steps),
        charts=(
            Chart(
                question=text("trials.overload.question_chart"),
                x_title=text("trials.overload.axis_injected"),
                y_title=unit,
                log_x=True,
                log_y=all(s.shown.estimate.low > 0.0 for s in steps),
                series=(
                    points(
                        subject.name,
                        [s.injected_per_s for s in steps],
                        [s.shown.estimate for s in steps],
                    ),
                ),
            ),
        ),
        warnings=tuple(warnings),
        method=method,
    )


def _steps(runs: Sequence[Evidence]) -> tuple[list[Step], str]:
    """Levels by injected rate, rising, from the display, else from counts."""
    most: tuple[list[Step], str] = ([], "")
    for level, unit in ((lv.displayed_dose_rate, lv.DOSE_RATE), (lv.count_rate, "1/s")):
        steps = []
        for rate in sorted({r for e in runs if (r := e.number("injected_per_s"))}):
            group = [e for e in runs if e.number("injected_per_s") == rate]
            shown = lv.pool(group, level)
            if shown is not None and math.isfinite(shown.estimate.value):
                seconds = max(e.seconds for e in group)
                steps.append(Step(rate, shown, _least(group, shown, unit), seconds))
        if len(steps) > 1:
            return steps, unit
        most = max(most, (steps, unit), key=lambda found: len(found[0]))
    return most


def _least(group: Sequence[Evidence], shown: lv.Level, unit: str) -> float:
    """The lowest momentary reading of the runs; of counts their mean."""
    values = [
        float(np.min(log.values)) * convert(1.0, log.unit, unit)
        for e in group
        for log in e.readings
        if unit == lv.DOSE_RATE
        and log.quantity == "dose_rate"
        and log.field == "momentary"
        and log.values.size
    ]
    return min(values, default=shown.estimate.value)


def fold_back(steps: Sequence[Step]) -> tuple[Step, Step] | None:
    """Return the step that shows most and a higher one that shows significantly less."""
    top = max(steps, key=lambda s: s.shown.estimate.value)
    beyond = [s for s in steps if s.injected_per_s > top.injected_per_s]
    for step in reversed(beyond):
        first, second = top.shown.estimate, step.shown.estimate
        if first.value - second.value > FOLDS * math.hypot(first.u, second.u):
            return top, step
    return None


def follows(steps: Sequence[Step]) -> bool:
    """Whether the highest step still shows what proportionality to the lowest asks."""
    return _share(steps[-1], steps[0]) >= FOLLOWS


def _share(step: Step, first: Step) -> float:
    base = first.shown.estimate.value / first.injected_per_s
    return step.shown.estimate.value / step.injected_per_s / base if base > 0.0 else math.nan


def _judged(
    subject: Counter, steps: Sequence[Step], unit: str, profile: Profile, folds: bool
) -> tuple[Judgement | None, list[str]]:
    """Judge the least shown for half a minute of overload against the end of the range.

    Without a stated end it is the most shown at lower rates; overload is then reached when the
    display no longer follows, else when proportionality would have it above the end.
    """
    last, lower = steps[-1], steps[:-1]
    stated = subject.claims.get("range_top_usv_h") if unit == lv.DOSE_RATE else None
    top = stated or max(s.shown.estimate.value for s in lower)
    missing = []
    if unit != lv.DOSE_RATE:
        return None, [text("trials.overload.no_display")]
    proportional = last.injected_per_s * steps[0].shown.estimate.value / steps[0].injected_per_s
    within = proportional < stated if stated is not None else follows(steps)
    if within:
        missing.append(text("trials.overload.not_reached"))
    if stated is None and last.injected_per_s < 2.0 * lower[-1].injected_per_s:
        missing.append(text("trials.overload.close"))
    if last.seconds < HOLD_S:
        missing.append(text("trials.overload.short", seconds=f"{last.seconds:.0f}"))
    # a display that has fallen has failed, however short the overload was
    if (missing and not folds) or top <= 0.0:
        return None, missing
    u = last.shown.fixed_u / top
    value = last.least / top
    floor = Estimate(value, u, value - u, value + u, 0.95, "", None, "lowest reading over the top")
    judgement = judge(
        text("trials.overload.floor", instrument=subject.name),
        floor,
        profile.criterion("overload_floor"),
        last.seconds,
        u,
    )
    return judgement, []


def _row(subject: Counter, step: Step, first: Step) -> Row:
    return Row(
        label=text("trials.overload.row", rate=f"{step.injected_per_s:g}"),
        instrument=subject.name,
        values={
            "shown": Measured.of(step.shown.estimate),
            "least shown": step.least,
            "share of proportionality": _share(step, first),
        },
    )


TRIAL = Trial(
    name=NAME,
    question=text("trials.overload.question"),
    needs=(text("trials.overload.need_generator"),),
    bench_substitute=text("trials.overload.substitute"),
    cautions=(text("trials.overload.caution"), text("trials.overload.no_sources")),
    plan=plan,
    analyse=analyse,
    serves=serves,
)
