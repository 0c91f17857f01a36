"""Plateau: counts of one source over the tube's voltage.

Answers where the tube starts, where its plateau lies, how steep it is, and where to work. The
analysis is :func:`counterproof.counting.plateau.plateau`; this trial gathers the runs and judges.
"""

from __future__ import annotations

import math
from collections.abc import Sequence

import numpy as np

from counterproof.counting.planning import time_for_relative
from counterproof.counting.plateau import Plateau, plateau
from counterproof.errors import UserError
from counterproof.quantities import Estimate
from counterproof.quantities.format import format_estimate
from counterproof.records import Chart, Judgement, Mark, Measured, Outcome, Plan, PlannedRun, Row
from counterproof.records.outcome import Series, worst
from counterproof.texts import text
from counterproof.trials.criteria import Profile
from counterproof.trials.judge import judge
from counterproof.trials.shape import Ask, Counter, Evidence, Trial
from counterproof.trials.shared import counts_of, not_yet, plan_of

NAME = "plateau"
STEPS = 12  # voltages of a plan: enough to see both knees; common practice, no source
FEWEST = 4
MAX_SLOPE = 10.0  # %/100 V where the profile is silent; halogen tubes, common practice


def plan(ask: Ask) -> Plan:
    """Plan a sweep: one run at each voltage, and the background."""
    minutes = time_for_relative(ask.background_per_s + ask.source_per_s, ask.relative_u) / 60.0
    runs = [
        PlannedRun(
            instrument=ask.subject.name,
            what=text("trials.plateau.run", step=i + 1, steps=STEPS),
            minutes=minutes,
            sources=ask.sources[:1],
        )
        for i in range(STEPS)
    ]
    background = PlannedRun(
        instrument=ask.subject.name, what=text("trials.plateau.background"), minutes=minutes
    )
    return plan_of(TRIAL, [*runs, background], text("trials.plateau.expected"))


def _used(subject: Counter, evidence: Sequence[Evidence]) -> list[Evidence]:
    return [
        e for e in evidence if e.counter.name == subject.name and e.number("voltage_v") is not None
    ]


def serves(subject: Counter, evidence: Sequence[Evidence]) -> bool:
    """Whether any run names the tube's voltage."""
    return bool(_used(subject, evidence))


def analyse(subject: Counter, evidence: Sequence[Evidence], profile: Profile) -> Outcome:
    """Find the plateau in a sweep.

    Args:
        subject: the counter under test.
        evidence: runs with the condition ``voltage_v``, with one source at one place (or all
            without), and background runs.
        profile: its ``plateau_slope`` and ``plateau_length`` judge slope and length.
    """
    method = text("trials.plateau.method")
    sweep = _used(subject, evidence)
    with_source = [e for e in sweep if e.run.sources]
    warnings: list[str] = []
    background = 0.0
    if with_source:
        places = {(e.run.sources, e.run.position) for e in with_source}
        if len(places) > 1:
            warnings.append(text("trials.plateau.moved"))
            nothing = text("trials.plateau.nothing", instrument=subject.name)
            return not_yet(NAME, subject, nothing, warnings, method)
        # a background on the plateau may note its voltage
        off = counts_of(
            [
                e
                for e in evidence
                if e.counter.name == subject.name
                and not e.run.sources
                and (e.run.is_background or e.number("voltage_v") is not None)
            ]
        )
        if off is None:
            warnings.append(text("trials.plateau.no_background"))
        else:
            background = off[0] / off[1]
        sweep = with_source
    counted = [(e, c) for e in sweep if (c := counts_of([e])) is not None]
    if len(counted) < len(sweep):
        warnings.append(text("trials.plateau.no_counts", runs=len(sweep) - len(counted)))
    volts = [e.number("voltage_v") or 0.0 for e, _ in counted]
    if len(set(volts)) < FEWEST:
        warnings.append(text("trials.plateau.too_few", have=len(set(volts)), need=FEWEST))
        nothing = text("trials.plateau.nothing", instrument=subject.name)
        return not_yet(NAME, subject, nothing, warnings, method)
    limit = profile.criterion("plateau_slope")
    try:
        found = plateau(
            volts,
            [c[0] for _, c in counted],
            [c[1] for _, c in counted],
            background_per_s=background,
            max_slope=MAX_SLOPE if limit is None or limit.high is None else limit.high,
        )
    except UserError as error:
        nothing = text("trials.plateau.nothing", instrument=subject.name)
        return not_yet(NAME, subject, nothing, [*warnings, error.message], method)
    warnings += [reason for _, reason in found.sweep.rejected]
    if found.verdict in ("falling", "no plateau"):
        warnings.append(text(f"trials.plateau.{found.verdict.replace(' ', '_')}"))
    if found.fit_p_value < 0.01:
        warnings.append(text("trials.plateau.not_straight", p=f"{found.fit_p_value:.1g}"))
    seconds = float(found.sweep.live_s.sum())
    judgements = _judged(subject, found, profile, seconds)
    verdict = worst([j.verdict for j in judgements]) if judgements else "cannot tell yet"
    return Outcome(
        trial=NAME,
        instrument=subject.name,
        verdict=verdict,
        statement=_statement(subject, found),
        runs=tuple(e.run.id for e, _ in counted),
        judgements=tuple(judgements),
        table=(_row(subject, found),),
        charts=(_chart(subject, found),),
        warnings=tuple(warnings),
        method=method,
    )


def _length(found: Plateau) -> Estimate:
    """Length with what the sweep's steps leave open: each true end lies within a step of its own.

    A sweep that was not carried past the plateau leaves its upper end open.
    """
    v = found.sweep.voltages
    first = int(np.searchsorted(v, found.low_v))
    last = int(np.searchsorted(v, found.high_v))
    below = float(v[first] - v[first - 1]) if first > 0 else math.inf
    above = float(v[last + 1] - v[last]) if last + 1 < v.size else math.inf
    length = found.length_v
    u = math.hypot(below, above) / math.sqrt(12.0)
    method = "between the outermost points on the plateau; its ends lie up to a step further out"
    return Estimate(length, u, length, length + below + above, 0.95, "V", None, method)


def _judged(subject: Counter, found: Plateau, profile: Profile, seconds: float) -> list[Judgement]:
    if found.verdict == "no plateau":
        return []
    slope = judge(
        text("trials.plateau.slope", instrument=subject.name),
        found.slope,
        profile.criterion("plateau_slope"),
        seconds,
    )
    length = judge(
        text("trials.plateau.length", instrument=subject.name),
        _length(found),
        profile.criterion("plateau_length"),
        seconds,
        fixed_u=_length(found).u,
    )
    return [slope, length]


def _statement(subject: Counter, found: Plateau) -> str:
    if found.verdict == "no plateau":
        return text("trials.plateau.none_found", instrument=subject.name)
    return text(
        f"trials.plateau.statement_{found.verdict.replace(' ', '_')}",
        instrument=subject.name,
        low=f"{found.low_v:g}",
        high=f"{found.high_v:g}",
        slope=format_estimate(found.slope),
        working=f"{found.working_v:.0f}",
    )


def _row(subject: Counter, found: Plateau) -> Row:
    # a falling or missing plateau has no point to work at
    working = math.nan if found.verdict == "falling" else found.working_v
    volts = {
        "start in V": found.start_v,
        "lower end in V": found.low_v,
        "upper end in V": found.high_v,
        "midpoint in V": found.midpoint_v,
        "working point in V": working,
    }
    values: dict[str, Measured | str | float | int | None] = {
        "verdict": found.verdict,
        **{key: number for key, number in volts.items() if math.isfinite(number)},
    }
    if found.verdict != "no plateau":
        values["slope of a straight line"] = Measured.of(found.slope)
        values["slope between the ends"] = Measured.of(found.endpoint_slope)
        values["p of the straight line"] = found.fit_p_value
    return Row(label=text("trials.plateau.row"), instrument=subject.name, values=values)


def _chart(subject: Counter, found: Plateau) -> Chart:
    sweep = found.sweep
    half = 1.96 * sweep.u_per_s
    ends = [v for v in (found.low_v, found.high_v) if math.isfinite(v)]
    return Chart(
        question=text("trials.plateau.question_sweep"),
        x_title=text("trials.plateau.axis_voltage"),
        y_title=text("trials.plateau.axis_net"),
        series=(
            Series(
                name=subject.name,
                x=tuple(float(v) for v in sweep.voltages),
                y=tuple(float(r) for r in sweep.net_per_s),
                low=tuple(float(r) for r in sweep.net_per_s - half),
                high=tuple(float(r) for r in sweep.net_per_s + half),
            ),
        ),
        marks=tuple(Mark(axis="x", at=v) for v in ends),
    )


TRIAL = Trial(
    name=NAME,
    question=text("trials.plateau.question"),
    needs=(text("trials.plateau.need_voltage"), text("trials.plateau.need_source")),
    bench_substitute=text("trials.plateau.substitute"),
    cautions=(text("trials.plateau.caution"), text("trials.caution_sources")),
    plan=plan,
    analyse=analyse,
    serves=serves,
)
