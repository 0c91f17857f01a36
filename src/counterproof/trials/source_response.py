"""Source response: each check source at a position, beside a reference and beside physics.

Answers whether the counter gives each kind of radiation its due. Background is taken off both
counters, so background runs of each belong to the evidence.
"""

from __future__ import annotations

from collections.abc import Sequence

from counterproof.counting.planning import split_for_relative
from counterproof.quantities import Estimate
from counterproof.quantities.format import format_estimate
from counterproof.records import (
    Chart,
    Criterion,
    Judgement,
    Measured,
    Outcome,
    Plan,
    PlannedRun,
    Row,
)
from counterproof.records.outcome import worst
from counterproof.texts import text
from counterproof.trials import levels as lv
from counterproof.trials.criteria import Profile
from counterproof.trials.judge import judge
from counterproof.trials.pictures import ratio_chart
from counterproof.trials.shape import Ask, Counter, Evidence, Trial
from counterproof.trials.shared import plan_of

NAME = "source response"


def plan(ask: Ask) -> Plan:
    """Plan source and background runs with the time split that is best for the net rate."""
    gross = ask.background_per_s + ask.source_per_s
    split = split_for_relative(gross, ask.background_per_s, ask.relative_u)
    with_source, without = split.gross_s / 60.0, split.background_s / 60.0
    runs = []
    for counter in (ask.subject, *ask.references):
        runs += [
            PlannedRun(
                instrument=counter.name,
                what=text("trials.source_response.run", source=source),
                minutes=with_source,
                sources=(source,),
            )
            for source in ask.sources or (text("trials.source_response.each"),)
        ]
        runs.append(
            PlannedRun(
                instrument=counter.name,
                what=text("trials.source_response.background"),
                minutes=without,
                reason=text("trials.source_response.same_place"),
            )
        )
    expected = text("trials.source_response.expected", percent=f"{100 * ask.relative_u:g}")
    return plan_of(TRIAL, runs, expected)


def _used(evidence: Sequence[Evidence]) -> list[Evidence]:
    return [e for e in evidence if e.run.with_source and e.run.position.angle_deg == 0.0]


def serves(subject: Counter, evidence: Sequence[Evidence]) -> bool:
    """Whether it was recorded near a source, in its calibration direction."""
    return any(e.counter.name == subject.name for e in _used(evidence))


def analyse(subject: Counter, evidence: Sequence[Evidence], profile: Profile) -> Outcome:
    """Compare the subject's net response to each source with the references'.

    Args:
        subject: the counter under test.
        evidence: runs with sources, and background runs of every counter.
        profile: its ``ratio`` criterion judges indicated over reference dose rate.
    """
    background = [e for e in evidence if e.run.is_background]
    with_source = _at_the_position(_used(evidence))
    criterion = profile.criterion("ratio")
    judgements: list[Judgement] = []
    rows: list[Row] = []
    warnings: list[str] = []
    dose_ratios: dict[str, list[tuple[str, Estimate]]] = {}
    count_ratios: dict[str, list[tuple[str, Estimate]]] = {}
    for key in dict.fromkeys(_place(e) for e in with_source):
        group = [e for e in with_source if _place(e) == key]
        own = [e for e in group if e.counter.name == subject.name]
        if not own:
            continue
        label = _label(own[0], with_source)
        mine = _Nets(own, background)
        rows.append(_row(label, subject.name, own, mine))
        if mine.counts is None and mine.dose is None:
            warnings.append(text("trials.source_response.no_net", source=label))
        expected = own[0].expected_usv_h
        # a dose rate that the run could not have seen (a pure beta source) compares with nothing
        if expected and mine.dose and expected.value > mine.dose.estimate.u:
            ratio = lv.over(mine.dose.estimate, expected)
            dose_ratios.setdefault(text("trials.predicted"), []).append((label, ratio))
        for name, theirs in lv.by_counter([e for e in group if e.counter.name != subject.name]):
            other = _Nets(theirs, background)
            rows.append(_row(label, name, theirs, other))
            if mine.counts and other.counts and other.counts.estimate.value > 0:
                ratio = lv.over(mine.counts.estimate, other.counts.estimate)
                count_ratios.setdefault(name, []).append((label, ratio))
            if mine.dose and other.reference and other.reference.estimate.value > 0:
                ratio = lv.over(mine.dose.estimate, other.reference.estimate)
                dose_ratios.setdefault(name, []).append((label, ratio))
                fits = lv.calibrated_for(theirs[0])
                if not fits:
                    warnings.append(
                        text("trials.source_response.other_nuclide", reference=name, source=label)
                    )
                held_to = criterion if fits else None
                judgements.append(
                    _judged(subject, name, label, ratio, mine.dose, other.reference, held_to)
                )
    if not with_source:
        warnings.append(text("trials.no_runs", instrument=subject.name, what=NAME))
    elif not judgements:
        warnings.append(text("trials.no_reference"))
    rows += _ratio_rows(subject.name, count_ratios)
    verdict = worst([j.verdict for j in judgements]) if judgements else "cannot tell yet"
    return Outcome(
        trial=NAME,
        instrument=subject.name,
        verdict=verdict,
        statement=_statement(subject, judgements),
        runs=tuple(e.run.id for e in evidence),
        judgements=tuple(judgements),
        table=tuple(rows),
        charts=tuple(_charts(dose_ratios, count_ratios, profile)),
        warnings=tuple(dict.fromkeys(warnings)),
        method=text("trials.source_response.method"),
    )


class _Nets:
    """Net count rate, net indicated dose rate and net dose rate by calibration of one counter."""

    def __init__(self, group: Sequence[Evidence], background: Sequence[Evidence]) -> None:
        own = [e for e in background if e.counter.name == group[0].counter.name]
        self.counts = lv.net(group, own, lv.count_rate)
        self.dose = lv.net(group, own, lv.indicated_dose_rate)
        self.reference = lv.net_by_calibration(group, own)


def _at_the_position(runs: Sequence[Evidence]) -> list[Evidence]:
    """Keep the runs at the distance where most sources stood; a ladder's others are not asked here.

    A source that never stood there keeps all its runs.
    """
    where: dict[float | None, set[tuple[str, ...]]] = {}
    for e in runs:
        where.setdefault(e.run.position.distance_mm, set()).add(e.run.sources)
    agreed = max(where, key=lambda d: len(where[d]), default=None)
    if agreed is None or len(where[agreed]) < 2:
        return list(runs)
    there = where[agreed]
    return [e for e in runs if e.run.position.distance_mm == agreed or e.run.sources not in there]


def _place(e: Evidence) -> tuple[tuple[str, ...], float | None, float, tuple[str, ...]]:
    position = e.run.position
    absorbers = tuple(
        f"{a.material} {a.thickness_mm or a.areal_density_mg_cm2}" for a in position.absorbers
    )
    return tuple(sorted(e.run.sources)), position.distance_mm, position.angle_deg, absorbers


def _label(e: Evidence, among: Sequence[Evidence]) -> str:
    """The source's name, with absorbers, and the distance where it stood at more than one."""
    name = " + ".join(e.run.sources)
    if e.run.position.absorbers:
        sheets = "; ".join(
            f"{a.material} {a.areal_density_mg_cm2:g} mg/cm²"
            if a.areal_density_mg_cm2
            else f"{a.material} {a.thickness_mm:g} mm"
            for a in e.run.position.absorbers
        )
        name = text("trials.source_response.behind", source=name, absorbers=sheets)
    distances = {x.run.position.distance_mm for x in among if x.run.sources == e.run.sources}
    distance = e.run.position.distance_mm
    return f"{name}, {distance:g} mm" if len(distances) > 1 and distance is not None else name


def _row(label: str, name: str, group: Sequence[Evidence], nets: _Nets) -> Row:
    values: dict[str, Measured | str | float | int | None] = {
        "minutes": round(sum(e.seconds for e in group) / 60.0, 1)
    }
    for key, level in (
        ("net count rate", nets.counts),
        ("net indicated dose rate", nets.dose),
        ("net dose rate by calibration", nets.reference),
    ):
        if level is not None:
            values[key] = Measured.of(level.estimate)
    expected = group[0].expected_usv_h
    if expected is not None:
        values["expected dose rate"] = Measured.of(expected)
    return Row(label=label, instrument=name, values=values)


def _ratio_rows(name: str, ratios: dict[str, list[tuple[str, Estimate]]]) -> list[Row]:
    return [
        Row(
            label=text("trials.source_response.count_ratio", reference=reference),
            instrument=name,
            values={label: Measured.of(ratio) for label, ratio in pairs},
        )
        for reference, pairs in ratios.items()
    ]


def _judged(
    subject: Counter,
    reference: str,
    label: str,
    ratio: Estimate,
    mine: lv.Level,
    theirs: lv.Level,
    criterion: Criterion | None,
) -> Judgement:
    return judge(
        text(
            "trials.source_response.ratio",
            subject=subject.name,
            reference=reference,
            source=label,
        ),
        ratio,
        criterion,
        min(mine.seconds, theirs.seconds),
        lv.fixed_u_of_ratio(ratio, mine, theirs),
    )


def _statement(subject: Counter, judgements: Sequence[Judgement]) -> str:
    if not judgements:
        return text("trials.source_response.nothing", instrument=subject.name)
    judged = [j for j in judgements if j.verdict != "no criterion"] or judgements
    parts = [
        f"{j.quantity}: {format_estimate(j.measured.estimate())} ({j.verdict})" for j in judged
    ]
    return "; ".join(parts) + "."


def _charts(
    doses: dict[str, list[tuple[str, Estimate]]],
    counts: dict[str, list[tuple[str, Estimate]]],
    profile: Profile,
) -> list[Chart]:
    charts = []
    if doses:
        charts.append(
            ratio_chart(
                text("trials.source_response.question_dose"),
                list(doses.items()),
                text("trials.source_response.axis_dose"),
                profile.criterion("ratio"),
            )
        )
    if counts:
        charts.append(
            ratio_chart(
                text("trials.source_response.question_counts"),
                list(counts.items()),
                text("trials.source_response.axis_counts"),
                None,
            )
        )
    return charts


TRIAL = Trial(
    name=NAME,
    question=text("trials.source_response.question"),
    needs=(
        text("trials.source_response.need_sources"),
        text("trials.source_response.need_background"),
        text("trials.background.need_reference"),
    ),
    bench_substitute=text("trials.source_response.substitute"),
    cautions=(text("trials.caution_sources"),),
    plan=plan,
    analyse=analyse,
    serves=serves,
)
