"""Dose-rate ladder: one source at several distances, level by level.

Answers whether the display follows the dose rate, whether its factor changes on the way, whether
counts are lost at the top, and whether the distances make sense (inverse square with an
effective-centre offset, flagged when they do not).
"""

from __future__ import annotations

from collections.abc import Sequence
from itertools import pairwise

import numpy as np

from counterproof.counting.deadtime_series import dead_time_from_ladder
from counterproof.counting.distance import DistanceFit, fit_distance
from counterproof.counting.planning import split_for_relative
from counterproof.errors import UserError
from counterproof.quantities.format import format_estimate, format_number
from counterproof.records import Chart, Judgement, Measured, Outcome, Plan, PlannedRun, Row
from counterproof.records.outcome import worst
from counterproof.texts import text
from counterproof.trials import levels as lv
from counterproof.trials.criteria import Profile
from counterproof.trials.judge import judge
from counterproof.trials.pictures import ratio_marks
from counterproof.trials.rungs import Rung, on_the_ladder, rungs_of
from counterproof.trials.shape import Ask, Counter, Evidence, Trial
from counterproof.trials.shared import not_yet, plan_of, points

NAME = "dose-rate ladder"
FEWEST = 3
STEPS_CM = (40, 20, 10, 5, 3)
CHANGED = 3.0  # standard uncertainties by which neighbouring factors must differ to be called so


def plan(ask: Ask) -> Plan:
    """Plan runs at distances that halve, each as long as its net rate needs."""
    runs = []
    for cm in STEPS_CM:
        net = ask.source_per_s * (STEPS_CM[2] / cm) ** 2
        split = split_for_relative(net + ask.background_per_s, ask.background_per_s, ask.relative_u)
        runs += [
            PlannedRun(
                instrument=counter.name,
                what=text("trials.ladder.run", cm=cm),
                minutes=max(split.gross_s / 60.0, 1.0),
                sources=ask.sources[:1],
            )
            for counter in (ask.subject, *ask.references)
        ]
    return plan_of(TRIAL, runs, text("trials.ladder.expected"))


def serves(subject: Counter, evidence: Sequence[Evidence]) -> bool:
    """Whether one source was measured at more than one distance."""
    own = [e for e in evidence if e.counter.name == subject.name and on_the_ladder(e)]
    stood = {(e.run.sources, e.run.position.distance_mm) for e in own}
    return len(stood) > len({source for source, _ in stood})


def analyse(subject: Counter, evidence: Sequence[Evidence], profile: Profile) -> Outcome:
    """Follow one source over the distances.

    Args:
        subject: the counter under test.
        evidence: runs of one source at three or more distances, background runs, and the same of a
            reference; of several sources the one with the most distances is taken.
        profile: its ``linearity`` criterion judges each level's indicated over true dose rate.
    """
    rungs, source, used = rungs_of(subject, evidence)
    if len(rungs) < FEWEST:
        too_few = text("trials.ladder.too_few", have=len(rungs), need=FEWEST)
        nothing = text("trials.ladder.nothing", instrument=subject.name)
        return not_yet(NAME, subject, nothing, [too_few], text("trials.ladder.method"))
    strangers = dict.fromkeys(r.stranger for r in rungs if r.stranger)
    warnings = [text("trials.ladder.other_nuclide", reference=r, source=source) for r in strangers]
    judgements = _judged(subject, rungs, profile)
    if not judgements:
        warnings.append(text("trials.no_reference"))
    rows = [_row(source, subject.name, rung) for rung in rungs]
    distance = _distance(subject, evidence, source)
    if distance is not None:
        rows.append(_distance_row(subject.name, distance))
        if distance.fit.misfit:
            warnings.append(text("trials.ladder.misfit", p=f"{distance.fit.p_value:.1g}"))
    rows += _dead_time_rows(subject, rungs, evidence)
    change = changed_factor(rungs)
    if change is not None:
        warnings.append(change)
    verdict = worst([j.verdict for j in judgements]) if judgements else "cannot tell yet"
    return Outcome(
        trial=NAME,
        instrument=subject.name,
        verdict=verdict,
        statement=_statement(subject, source, judgements, change),
        runs=tuple(e.run.id for e in used),
        judgements=tuple(judgements),
        table=tuple(rows),
        charts=tuple(_charts(subject, rungs, profile)),
        warnings=tuple(warnings),
        method=text("trials.ladder.method"),
    )


def _judged(subject: Counter, rungs: Sequence[Rung], profile: Profile) -> list[Judgement]:
    found = []
    for rung in rungs:
        if rung.dose is None or rung.truth is None or rung.truth.estimate.value <= 0.0:
            continue
        ratio = lv.over(rung.dose.estimate, rung.truth.estimate)
        fixed = lv.fixed_u_of_ratio(ratio, rung.dose, rung.truth)
        quantity = text(
            "trials.ladder.ratio",
            subject=subject.name,
            level=format_estimate(rung.truth.estimate),
            distance=f"{rung.distance_mm:g}",
        )
        criterion = None if rung.stranger else profile.criterion("linearity")
        found.append(judge(quantity, ratio, criterion, rung.dose.seconds, fixed))
    return found


def changed_factor(rungs: Sequence[Rung]) -> str | None:
    """Say between which displayed levels the factor changes, or ``None`` when it does not."""
    with_factor = [(r, r.factor_cpm_per_usv_h) for r in rungs]
    known = [(r, f) for r, f in with_factor if f is not None and r.gross_dose is not None]
    steps = []
    for (low, first), (high, second) in pairwise(known):
        apart = abs(second.value - first.value) / float(np.hypot(first.u, second.u))
        if apart >= CHANGED and low.gross_dose is not None and high.gross_dose is not None:
            steps.append((apart, low.gross_dose, high.gross_dose, first, second))
    if not steps:
        return None
    _, below, above, first, second = max(steps, key=lambda s: s[0])
    return text(
        "trials.ladder.changes",
        low=format_estimate(below.estimate),
        high=format_estimate(above.estimate),
        first=format_estimate(first),
        second=format_estimate(second),
    )


def _gross(e: Evidence) -> tuple[float, float] | None:
    """Counts and live time of a run, the live time scaled so that their ratio is the true rate."""
    level = lv.count_rate(e)
    if level is None or not level.estimate.counts or level.estimate.value <= 0.0:
        return None
    return level.estimate.counts, level.estimate.counts / level.estimate.value


def _distance(subject: Counter, evidence: Sequence[Evidence], source: str) -> DistanceFit | None:
    own = [e for e in evidence if e.counter.name == subject.name]
    background = [g for g in (_gross(e) for e in own if e.run.is_background) if g]
    points = [
        (e.run.position.distance_mm, *g)
        for e in own
        if e.run.sources == (source,)
        and on_the_ladder(e)
        and e.run.position.distance_mm is not None
        and (g := _gross(e)) is not None
    ]
    if not background or len({p[0] for p in points}) < FEWEST:
        return None
    spread = [e.run.position.distance_u_mm for e in own if e.run.position.distance_u_mm]
    try:
        return fit_distance(
            [p[0] for p in points],
            [p[1] for p in points],
            [p[2] for p in points],
            sum(b[0] for b in background),
            sum(b[1] for b in background),
            distance_u=max(spread, default=0.0),
        )
    except UserError:
        return None


def _distance_row(name: str, found: DistanceFit) -> Row:
    return Row(
        label=text("trials.ladder.distance"),
        instrument=name,
        values={
            "effective-centre offset": Measured.of(found.offset),
            "background": Measured.of(found.background),
            "chi-squared": found.fit.chi2,
            "degrees of freedom": found.fit.dof,
            "p": found.fit.p_value,
        },
    )


def _dead_time_rows(
    subject: Counter, rungs: Sequence[Rung], evidence: Sequence[Evidence]
) -> list[Row]:
    """Dead time from the losses at the top, when the true levels are known."""
    known = [r for r in rungs if r.counts and r.counts.estimate.counts and r.truth]
    background = lv.pool(
        [e for e in evidence if e.run.is_background and e.counter.name == subject.name],
        lv.count_rate,
    )
    if len(known) < FEWEST or background is None or not background.estimate.counts:
        return []
    levels = [(r.truth.estimate, r.counts.estimate) for r in known if r.truth and r.counts]
    try:
        found = dead_time_from_ladder(
            [t.value for t, _ in levels],
            [c.counts or 0.0 for _, c in levels],
            [(c.counts or 0.0) / c.value for _, c in levels],
            background.estimate.counts,
            background.estimate.counts / background.estimate.value,
            reference_u_rel=max(t.relative_u for t, _ in levels),
        )
    except UserError:
        return []
    tau = found.tau.scaled(1e6, "µs")
    below = text("trials.ladder.not_resolved", high=format_number(float(f"{tau.high:.3g}")))
    return [
        Row(
            label=text("trials.ladder.dead_time"),
            instrument=subject.name,
            values={
                "dead time": Measured.of(tau) if found.resolved else below,
                "p": found.fit.p_value,
            },
        )
    ]


def _row(source: str, name: str, rung: Rung) -> Row:
    values: dict[str, Measured | str | float | int | None] = {}
    for key, estimate in (
        ("count rate", rung.counts.estimate if rung.counts else None),
        ("net indicated dose rate", rung.dose.estimate if rung.dose else None),
        ("true dose rate", rung.truth.estimate if rung.truth else None),
        ("counts behind the display", rung.factor_cpm_per_usv_h),
    ):
        if estimate is not None:
            values[key] = Measured.of(estimate)
    return Row(label=f"{source}, {rung.distance_mm:g} mm", instrument=name, values=values)


def _statement(
    subject: Counter, source: str, judgements: Sequence[Judgement], change: str | None
) -> str:
    if not judgements:
        return change or text("trials.ladder.nothing", instrument=subject.name)
    judged = [j for j in judgements if j.verdict != "no criterion"]
    if not judged:
        stated = text("trials.ladder.stated", instrument=subject.name, levels=len(judgements))
        return f"{stated} {change}" if change else stated
    outside = [j for j in judged if j.verdict == "not met"]
    key = "trials.ladder.outside" if outside else "trials.ladder.inside"
    words = text(
        key,
        instrument=subject.name,
        source=source,
        outside=len(outside),
        levels=len(judged),
    )
    return f"{words} {change}" if change else words


def _charts(subject: Counter, rungs: Sequence[Rung], profile: Profile) -> list[Chart]:
    charts = []
    pairs = [(r.truth.estimate, r.dose.estimate) for r in rungs if r.truth and r.dose]
    pairs = [(t, d) for t, d in pairs if t.value > 0.0]
    if pairs:
        ratios = [lv.over(d, t) for t, d in pairs]
        criterion = profile.criterion("linearity")
        charts.append(
            Chart(
                question=text("trials.ladder.question_linear"),
                x_title=text("trials.ladder.axis_true"),
                y_title=text("trials.ladder.axis_ratio"),
                log_x=True,
                series=(points(subject.name, [t.value for t, _ in pairs], ratios),),
                marks=ratio_marks(criterion, "y"),
            )
        )
    factors = [(r.gross_dose.estimate.value, r.factor_cpm_per_usv_h) for r in rungs if r.gross_dose]
    known = [(x, f) for x, f in factors if f is not None and x > 0.0]
    if len(known) > 1:
        charts.append(
            Chart(
                question=text("trials.ladder.question_factor"),
                x_title=text("trials.ladder.axis_shown"),
                y_title=text("trials.ladder.axis_factor"),
                log_x=True,
                series=(points(subject.name, [x for x, _ in known], [f for _, f in known]),),
            )
        )
    return charts


TRIAL = Trial(
    name=NAME,
    question=text("trials.ladder.question"),
    needs=(
        text("trials.ladder.need_distances"),
        text("trials.source_response.need_background"),
        text("trials.background.need_reference"),
    ),
    bench_substitute=text("trials.ladder.substitute"),
    cautions=(text("trials.caution_sources"),),
    plan=plan,
    analyse=analyse,
    serves=serves,
)
