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
from numpy.typing import NDArray

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

Floats = NDArray[np.float64]
NAME = "response time"
HAND_U_S = 0.5  # a source moved by hand, its moment noted; common practice, no source
FEWEST = 5  # readings on each side of the step
PLAIN = 4.0  # the step must exceed the scatter of readings that often
SHAPES = ("ramp", "exponential")
_LN10 = math.log(10.0)


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


def _progress(shape: str, scale: float, after_s: Floats) -> Floats:
    """Share of the step shown a time after it."""
    late = np.maximum(after_s, 0.0)
    if shape == "ramp":
        return np.clip(late / scale, 0.0, 1.0)
    return np.asarray(1.0 - np.exp(-late / scale), dtype=np.float64)


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
    scales = np.geomspace(0.3 * refresh, 2.0 * last, 160)
    tried: dict[str, tuple[Floats, list[tuple[float, float]]]] = {}
    for shape in SHAPES:
        fits = [_levels(_progress(shape, float(s), t), y) for s in scales]
        tried[shape] = (np.array([f[0] for f in fits]), [(f[1], f[2]) for f in fits])
    best = min(SHAPES, key=lambda s: float(tried[s][0].min()))
    sse, levels = tried[best]
    at = int(sse.argmin())
    start, jump = levels[at]
    variance = max(float(sse[at]) / max(t.size - 3, 1), (log.quantum or 0.0) ** 2 / 12.0, 1e-30)
    sigma = math.sqrt(variance)
    if abs(jump) < PLAIN * sigma:
        return "no_level"
    to_90 = {"ramp": 0.9, "exponential": _LN10}
    if to_90[best] * scales[at] > 0.6 * last:
        return "not_settled"
    # neighbouring readings share a window of counts: as many count as one as it holds
    shared = max(1.0, float(scales[at]) * (1.0 if best == "ramp" else 2.0) / refresh)
    allowed = float(sse[at]) + 3.84 * variance * shared
    ends = []
    for shape in SHAPES:
        inside = scales[tried[shape][0] <= allowed] * to_90[shape]
        ends += [float(inside.min()), float(inside.max())] if inside.size else []
    value = to_90[best] * float(scales[at])
    clock = math.hypot(refresh / math.sqrt(12.0), HAND_U_S)
    low = max(0.0, value - math.hypot(value - min(ends), 1.96 * clock))
    high = value + math.hypot(max(ends) - value, 1.96 * clock)
    u = max((high - low) / 3.92, clock)
    other = SHAPES[1 - SHAPES.index(best)]
    past = (y[t > value] - start) / jump - 1.0
    scatter = sigma / abs(jump)
    # the largest of many readings lies some σ above by chance alone
    chance = scatter * math.sqrt(2.0 * math.log(max(past.size, 2))) + 2.0 * scatter
    over = float(past.max()) if past.size else 0.0
    return StepFit(
        jump > 0.0,
        start,
        start + jump,
        Estimate(value, u, low, high, 0.95, "s", None, best),
        best,
        float(tried[other][0].min()) > allowed,
        over if over > chance else 0.0,
        scatter,
    )


def _levels(progress: Floats, y: Floats) -> tuple[float, float, float]:
    """Least squares of level before and jump: (sum of squares, before, jump)."""
    centred = progress - progress.mean()
    spread = float((centred**2).sum())
    jump = float((centred * y).sum()) / spread if spread > 0.0 else 0.0
    before = float(y.mean()) - jump * float(progress.mean())
    return float(((y - before - jump * progress) ** 2).sum()), before, jump


def _mean(times: Sequence[Estimate]) -> Estimate:
    """Mean of repeated steps; never surer than their own scatter allows."""
    if len(times) == 1:
        return times[0]
    values = np.array([e.value for e in times])
    n = math.sqrt(len(times))
    value = float(values.mean())
    below = max(math.sqrt(sum((e.value - e.low) ** 2 for e in times)) / len(times), 0.0)
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
