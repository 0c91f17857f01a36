"""Angle: one source at one distance, the counter turned.

Answers how much less (or more) it sees from the side and from behind, relative to 0°. Net rates by
one signal throughout; the predicted curve of the tube stands beside the measured points.
"""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from counterproof.counting.planning import split_for_relative
from counterproof.quantities import Estimate
from counterproof.quantities.format import format_estimate
from counterproof.records import Chart, Judgement, Measured, Outcome, Plan, PlannedRun, Row
from counterproof.records.outcome import worst
from counterproof.texts import text
from counterproof.trials import levels as lv
from counterproof.trials.criteria import Profile
from counterproof.trials.judge import judge
from counterproof.trials.pictures import ratio_marks
from counterproof.trials.shape import Ask, Counter, Evidence, Trial
from counterproof.trials.shared import not_yet, plan_of, points

NAME = "angle"
ANGLES_DEG = (0, 45, 90, 135, 180, -45, -90, -135)


def plan(ask: Ask) -> Plan:
    """Plan a run at each angle and one without the source."""
    gross = ask.background_per_s + ask.source_per_s
    split = split_for_relative(gross, ask.background_per_s, ask.relative_u)
    runs = [
        PlannedRun(
            instrument=ask.subject.name,
            what=text("trials.angle.run", angle=angle),
            minutes=split.gross_s / 60.0,
            sources=ask.sources[:1],
        )
        for angle in ANGLES_DEG
    ]
    off = PlannedRun(
        instrument=ask.subject.name,
        what=text("trials.source_response.background"),
        minutes=split.background_s / 60.0,
    )
    return plan_of(TRIAL, [*runs, off], text("trials.angle.expected"))


def _turned(subject: Counter, evidence: Sequence[Evidence]) -> list[Evidence]:
    """Runs of the one scene (source, distance, absorbers) that has the most angles."""
    scenes: dict[object, list[Evidence]] = {}
    for e in evidence:
        if e.counter.name == subject.name and e.run.with_source:
            p = e.run.position
            scenes.setdefault((e.run.sources, p.distance_mm, p.absorbers), []).append(e)
    return max(scenes.values(), key=lambda s: len(_angles(s)), default=[])


def _angles(runs: Sequence[Evidence]) -> list[float]:
    return sorted({e.run.position.angle_deg for e in runs})


def serves(subject: Counter, evidence: Sequence[Evidence]) -> bool:
    """Whether a source was seen from more than one angle."""
    return len(_angles(_turned(subject, evidence))) > 1


def analyse(subject: Counter, evidence: Sequence[Evidence], profile: Profile) -> Outcome:
    """Give the response at each angle relative to 0°.

    Args:
        subject: the counter under test, with ``predicted_angle`` where physics was asked.
        evidence: runs of one source at one distance at several angles, and background runs.
        profile: its ``angle_response`` judges each ratio within the angles it speaks of.
    """
    runs = _turned(subject, evidence)
    off = [e for e in evidence if e.counter.name == subject.name and e.run.is_background]
    method = text("trials.angle.method")
    nothing = text("trials.angle.nothing", instrument=subject.name)
    warnings: list[str] = []
    angles = _angles(runs)
    if len(angles) < 2:
        warnings.append(text("trials.angle.one_angle"))
    if 0.0 not in angles:
        warnings.append(text("trials.angle.no_front"))
    if runs and runs[0].run.position.distance_mm is None:
        warnings.append(text("trials.angle.no_distance"))
    if not off:
        warnings.append(text("trials.angle.no_background"))
    nets = _nets(runs, off)
    front = nets.get(0.0)
    if len(angles) > 1 and off and 0.0 in angles and front is None:
        warnings.append(text("trials.angle.no_signal"))
    if front is not None and front.estimate.low <= 0.0:
        warnings.append(text("trials.angle.weak_front"))
        front = None
    below = [angle for angle, level in nets.items() if level.estimate.high < 0.0]
    warnings += [text("trials.below_background", what=f"{angle:g}°") for angle in below]
    others = {a: level for a, level in nets.items() if a != 0.0 and a not in below}
    if front is None or not others:
        return not_yet(NAME, subject, nothing, warnings, method)
    ratios = {angle: lv.over(level.estimate, front.estimate) for angle, level in others.items()}
    judgements = [
        _judged(subject, angle, ratio, profile, others[angle], front)
        for angle, ratio in ratios.items()
    ]
    if len(nets) < len(angles):
        warnings.append(text("trials.angle.some_silent", runs=len(angles) - len(nets)))
    return Outcome(
        trial=NAME,
        instrument=subject.name,
        verdict=worst([j.verdict for j in judgements]),
        statement=_statement(subject, ratios),
        runs=tuple(e.run.id for e in (*runs, *off)),
        judgements=tuple(judgements),
        table=tuple(
            Row(
                label=f"{angle:g}°",
                instrument=subject.name,
                values={
                    "net rate": Measured.of(level.estimate),
                    **({"relative to 0°": Measured.of(ratios[angle])} if angle in ratios else {}),
                    **_predicted(subject, angle),
                },
            )
            for angle, level in nets.items()
        ),
        charts=(_chart(subject, ratios, profile),),
        warnings=tuple(warnings),
        method=method,
    )


def _statement(subject: Counter, ratios: dict[float, Estimate]) -> str:
    """Where it sees least; no dependence is claimed while every interval holds 1."""
    least = min(ratios, key=lambda a: ratios[a].value)
    alike = all(r.low <= 1.0 <= r.high for r in ratios.values())
    return text(
        "trials.angle.alike" if alike else "trials.angle.statement",
        instrument=subject.name,
        ratio=format_estimate(ratios[least]),
        angle=f"{least:g}",
        count=len(ratios),
    )


def _nets(runs: Sequence[Evidence], off: Sequence[Evidence]) -> dict[float, lv.Level]:
    """Net level by angle, by the first signal that 0° and background have."""
    for level in (lv.count_rate, lv.indicated_dose_rate):
        found = {}
        for angle in _angles(runs):
            here = [e for e in runs if e.run.position.angle_deg == angle]
            net = lv.net(here, off, level)
            if net is not None:
                found[angle] = net
        if 0.0 in found and len(found) > 1:
            return found
    return {}


def _judged(
    subject: Counter,
    angle: float,
    ratio: Estimate,
    profile: Profile,
    side: lv.Level,
    front: lv.Level,
) -> Judgement:
    held = profile.criterion("angle_response") if profile.covers("angle_response", angle) else None
    return judge(
        text("trials.angle.ratio", instrument=subject.name, angle=f"{angle:g}"),
        ratio,
        held,
        min(side.seconds, front.seconds),
        min(lv.fixed_u_of_ratio(ratio, side, front), ratio.u),
    )


def _predicted(subject: Counter, angle: float) -> dict[str, float]:
    """Predicted response at an angle, from the curve's points; a tube is alike on both sides."""
    curve = subject.predicted_angle
    if curve is None:
        return {}
    known = sorted(
        (x, y) for x, y in zip(curve.x, curve.y, strict=True) if x is not None and y is not None
    )
    at = abs(angle) if known and known[0][0] >= 0.0 else angle
    if not known or not known[0][0] <= at <= known[-1][0]:
        return {}
    value = np.interp(at, [x for x, _ in known], [y for _, y in known])
    return {"predicted": float(value)}


def _chart(subject: Counter, ratios: dict[float, Estimate], profile: Profile) -> Chart:
    criterion = profile.criterion("angle_response")
    ordered = sorted(ratios)
    series = [points(subject.name, ordered, [ratios[a] for a in ordered])]
    if subject.predicted_angle is not None:
        name = text("trials.predicted_curve")
        curve = subject.predicted_angle.model_copy(update={"role": "expected", "name": name})
        series.append(curve)
    return Chart(
        question=text("trials.angle.question_chart"),
        x_title=text("trials.angle.axis_angle"),
        y_title=text("trials.angle.axis_ratio"),
        series=tuple(series),
        marks=ratio_marks(criterion, "y"),
    )


TRIAL = Trial(
    name=NAME,
    question=text("trials.angle.question"),
    needs=(text("trials.angle.need_angles"), text("trials.source_response.need_background")),
    bench_substitute=text("trials.angle.substitute"),
    cautions=(text("trials.caution_sources"),),
    plan=plan,
    analyse=analyse,
    serves=serves,
)
