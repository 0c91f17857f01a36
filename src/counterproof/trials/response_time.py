"""Response time: how long a display takes to follow a step of the dose rate.

A rising and a falling step are each followed from the level before to the level after. Two shapes
are fitted, a straight ramp (a mean over a window) and an exponential; the better one gives the time
to 90 %, the other joins the interval as long as the readings cannot tell them apart.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from counterproof.quantities import Estimate
from counterproof.quantities.format import format_estimate
from counterproof.records import Chart, Criterion, Mark, Measured, Outcome, Plan, PlannedRun, Row
from counterproof.records.outcome import Series, worst
from counterproof.signals.trains import ReadingLog
from counterproof.texts import text
from counterproof.trials.criteria import Profile
from counterproof.trials.judge import judge
from counterproof.trials.shape import Ask, Counter, Evidence, Trial
from counterproof.trials.shared import not_yet, plan_of
from counterproof.trials.step_fit import SHAPES, TO_90, fit_shape

NAME = "response time"
HAND_U_S = 0.5  # a source moved by hand, its moment noted; common practice, no source
FEWEST = 5  # readings on each side of the step
PLAIN = 4.0  # the step must exceed the scatter of readings that often


@dataclass(frozen=True, eq=False)
class StepFit:
    """One step as the display followed it.

    Args:
        rising: whether the level rose.
        before: level before, in the display's unit.
        after: level after.
        t90: seconds to 90 % of the step.
        shape: the better of the two shapes.
        told_apart: whether the readings exclude the other.
        overshoot: how far the readings went past the level after, as a share of the step; 0 when
            that is within their scatter.
        scatter: of single readings, as a share of the step.
    """

    rising: bool
    before: float
    after: float
    t90: Estimate
    shape: str
    told_apart: bool
    overshoot: float
    scatter: float


def plan(ask: Ask) -> Plan:
    """Plan steps up and down, several times the window on each side."""
    window = ask.subject.window_s or 30.0
    minutes = max(6.0 * window / 60.0, 2.0)
    runs = [
        PlannedRun(
            instrument=ask.subject.name,
            what=text(f"trials.response.run_{way}"),
            minutes=minutes,
            sources=ask.sources[:1],
            reason=text("trials.response.twice"),
        )
        for way in ("up", "down") * 2
    ]
    return plan_of(TRIAL, runs, text("trials.response.expected"))


def _used(subject: Counter, evidence: Sequence[Evidence]) -> list[Evidence]:
    return [
        e for e in evidence if e.counter.name == subject.name and e.number("step_s") is not None
    ]


def serves(subject: Counter, evidence: Sequence[Evidence]) -> bool:
    """Whether any run notes a step."""
    return bool(_used(subject, evidence))


def analyse(subject: Counter, evidence: Sequence[Evidence], profile: Profile) -> Outcome:
    """Give the time to 90 % for steps up and down.

    Args:
        subject: the counter under test; its ``claims["response_s"]`` is the criterion if there is
            one, else the profile's ``response_time``.
        evidence: runs with the condition ``step_s`` (when, within the run) and momentary readings.
        profile: see above.
    """
    runs = _used(subject, evidence)
    criterion = _claim(subject) or profile.criterion("response_time")
    method = text("trials.response.method")
    nothing = text("trials.response.nothing", instrument=subject.name)
    warnings: list[str] = [] if runs else [text("trials.response.no_step")]
    steps: list[tuple[Evidence, StepFit, ReadingLog]] = []
    for e in runs:
        log = next(
            (
                r
                for r in e.readings
                if r.field == "momentary" and r.quantity in ("dose_rate", "count_rate")
            ),
            None,
        )
        if log is None:
            warnings.append(text("trials.response.no_readings", run=e.run.id))
            continue
        found = follow(log, e.number("step_s") or 0.0)
        if isinstance(found, str):
            warnings.append(text(f"trials.response.{found}", run=e.run.id))
        else:
            steps.append((e, found, log))
    if not steps:
        return not_yet(NAME, subject, nothing, warnings, method)
    judgements, parts = [], []
    for rising in (True, False):
        way = text("trials.response.up" if rising else "trials.response.down")
        fits = [f for _, f, _ in steps if f.rising == rising]
        if not fits:
            warnings.append(text("trials.response.one_way", way=way))
            continue
        t90 = _mean([f.t90 for f in fits])
        quantity = text("trials.response.t90", instrument=subject.name, way=way)
        seconds = sum(e.seconds for e, f, _ in steps if f.rising == rising)
        judgements.append(judge(quantity, t90, criterion, seconds))
        parts.append(text("trials.response.part", way=way, time=format_estimate(t90)))
        if max(f.overshoot for f in fits) > 0.0:
            percent = f"{100 * max(f.overshoot for f in fits):.0f}"
            parts.append(text("trials.response.overshoots", percent=percent))
    return Outcome(
        trial=NAME,
        instrument=subject.name,
        verdict=worst([j.verdict for j in judgements]),
        statement=f"{subject.name}: " + "; ".join(parts) + ".",
        runs=tuple(e.run.id for e, _, _ in steps),
        judgements=tuple(judgements),
        table=tuple(_row(subject, e, f) for e, f, _ in steps),
        charts=(_chart(steps),),
        warnings=tuple(warnings),
        method=method,
    )


def _claim(subject: Counter) -> Criterion | None:
    seconds = subject.claims.get("response_s")
    if seconds is None:
        return None
    return Criterion(
        name=text("trials.makers_claim"),
        statement=text("trials.response.claim", seconds=f"{seconds:g}"),
        source=text("trials.makers_claim"),
        high=seconds,
    )


def follow(log: ReadingLog, step_s: float) -> StepFit | str:
    """Fit how a display followed a step, or name what is missing.

    Returns:
        The fit, or the key of the sentence: ``"no_before"``, ``"no_after"``, ``"no_level"`` (the
        step does not stand out of the scatter) or ``"not_settled"``.
    """
    t, y = log.times_s - step_s, log.values.astype(np.float64)
    good = np.isfinite(y)
    t, y = t[good], y[good]
    if int((t < 0.0).sum()) < FEWEST:
        return "no_before"
    if int((t >= 0.0).sum()) < 2 * FEWEST:
        return "no_after"
    refresh = max(float(np.median(np.diff(t))), 1e-3)
    last = float(t[-1])
    scales = np.geomspace(0.3 * refresh, 2.0 * last, 240)
    clock = math.hypot(refresh / math.sqrt(12.0), HAND_U_S)
    fits = sorted(
        (fit_shape(shape, scales, t, y, refresh, clock) for shape in SHAPES),
        key=lambda f: f.squares,
    )
    best, other = fits
    sigma = max(best.sigma, (log.quantum or 0.0) / math.sqrt(12.0), 1e-15)
    if abs(best.jump) < PLAIN * sigma:
        return "no_level"
    value = TO_90[best.shape] * best.scale
    if value > 0.6 * last:
        return "not_settled"
    # as many readings count as one as share their counts
    shared = t.size / (best.free + 3.0)
    told_apart = other.squares > best.squares + 3.84 * sigma**2 * shared
    ends = [*best.ends(), *(() if told_apart else other.ends())]
    low, high = min(ends), max(ends)
    u = (high - low) / 3.92
    past = (y[t > value] - best.start) / best.jump - 1.0
    scatter = sigma / abs(best.jump)
    # the largest of many readings lies some σ above by chance alone; the median absolute deviation
    # (1.4826 of it is σ of a normal distribution) does not count the overshoot itself as scatter
    usual = 1.4826 * float(np.median(np.abs(past - np.median(past)))) if past.size else scatter
    usual = max(usual, (log.quantum or 0.0) / abs(best.jump) / math.sqrt(12.0))
    chance = usual * (math.sqrt(2.0 * math.log(max(past.size, 2))) + 2.0)
    over = float(past.max()) if past.size else 0.0
    return StepFit(
        best.jump > 0.0,
        best.start,
        best.start + best.jump,
        Estimate(value, u, low, high, 0.95, "s", None, best.shape),
        best.shape,
        told_apart,
        over if over > chance else 0.0,
        scatter,
    )


def _mean(times: Sequence[Estimate]) -> Estimate:
    """Mean of repeated steps; never surer than their own scatter allows."""
    if len(times) == 1:
        return times[0]
    values = np.array([e.value for e in times])
    n = math.sqrt(len(times))
    value = float(values.mean())
    below = math.sqrt(sum((e.value - e.low) ** 2 for e in times)) / len(times)
    above = math.sqrt(sum((e.high - e.value) ** 2 for e in times)) / len(times)
    scatter = 1.96 * float(values.std(ddof=1)) / n
    below, above = max(below, scatter), max(above, scatter)
    u = (below + above) / 3.92
    return Estimate(value, u, max(0.0, value - below), value + above, 0.95, "s", None, "mean")


def _row(subject: Counter, e: Evidence, f: StepFit) -> Row:
    return Row(
        label=text("trials.response.up" if f.rising else "trials.response.down"),
        instrument=subject.name,
        run=e.run.id,
        values={
            "before": f.before,
            "after": f.after,
            "time to 90 %": Measured.of(f.t90),
            "shape": f.shape if f.told_apart else text("trials.response.either"),
            "overshoot": f.overshoot,
            "scatter of a reading": f.scatter,
        },
    )


def _chart(steps: Sequence[tuple[Evidence, StepFit, ReadingLog]]) -> Chart:
    series = []
    for e, f, log in steps:
        t = log.times_s - (e.number("step_s") or 0.0)
        share = (log.values - f.before) / (f.after - f.before)
        series.append(
            Series(
                name=e.run.id,
                x=tuple(float(v) for v in t),
                y=tuple(float(v) for v in share),
            )
        )
    return Chart(
        question=text("trials.response.question_chart"),
        x_title=text("trials.response.axis_time"),
        y_title=text("trials.response.axis_share"),
        form="lines",
        series=tuple(series),
        marks=(Mark(axis="y", at=0.9), Mark(axis="y", at=1.0, dashed=False)),
    )


TRIAL = Trial(
    name=NAME,
    question=text("trials.response.question"),
    needs=(text("trials.response.need_step"), text("trials.response.need_readings")),
    bench_substitute=text("trials.response.substitute"),
    cautions=(text("trials.caution_sources"),),
    plan=plan,
    analyse=analyse,
    serves=serves,
)
