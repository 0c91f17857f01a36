"""Energy response: sources of several energies, each at a known dose rate.

Answers how much the counter over- or under-reads H*(10) at other photon energies than that of
Cs-137. True dose rates come from a reference calibrated for the nuclide, else from physics and the
source's activity; the predicted curve of the tube stands beside the measured points.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from counterproof.counting.planning import split_for_relative
from counterproof.quantities import Estimate
from counterproof.quantities.format import format_estimate
from counterproof.records import Chart, Judgement, Measured, Outcome, Plan, PlannedRun, Row
from counterproof.records.outcome import worst
from counterproof.texts import text
from counterproof.trials import levels as lv
from counterproof.trials.criteria import Profile
from counterproof.trials.emitted import hard_betas, mean_photon_kev
from counterproof.trials.judge import judge
from counterproof.trials.pictures import ratio_marks
from counterproof.trials.shape import Ask, Counter, Evidence, Trial
from counterproof.trials.shared import not_yet, plan_of, points

NAME = "energy response"
REFERENCE = "Cs-137"


@dataclass(frozen=True)
class Point:
    """One source's response before it is set against that to Cs-137."""

    label: str
    nuclide: str
    energy_kev: float
    response: Estimate
    fixed_relative: float
    seconds: float
    by: str


def plan(ask: Ask) -> Plan:
    """Plan a run with each source, and the background."""
    gross = ask.background_per_s + ask.source_per_s
    split = split_for_relative(gross, ask.background_per_s, ask.relative_u)
    runs = []
    for counter in (ask.subject, *ask.references):
        runs += [
            PlannedRun(
                instrument=counter.name,
                what=text("trials.energy.run", source=source),
                minutes=split.gross_s / 60.0,
                sources=(source,),
            )
            for source in ask.sources or (text("trials.source_response.each"),)
        ]
        runs.append(
            PlannedRun(
                instrument=counter.name,
                what=text("trials.source_response.background"),
                minutes=split.background_s / 60.0,
            )
        )
    return plan_of(TRIAL, runs, text("trials.energy.expected"))


def _used(subject: Counter, evidence: Sequence[Evidence]) -> list[Evidence]:
    return [
        e
        for e in evidence
        if e.counter.name == subject.name
        and e.nuclides
        and e.run.with_source
        and e.run.position.angle_deg == 0.0
    ]


def serves(subject: Counter, evidence: Sequence[Evidence]) -> bool:
    """Whether Cs-137 and another nuclide were measured."""
    leads = {e.nuclides[0] for e in _used(subject, evidence)}
    return REFERENCE in leads and len(leads) > 1


def analyse(subject: Counter, evidence: Sequence[Evidence], profile: Profile) -> Outcome:
    """Give the response to each source relative to that to Cs-137.

    Args:
        subject: the counter under test, with ``predicted_energy`` where physics was asked.
        evidence: runs with sources of several energies, Cs-137 among them, background runs, and
            the same of references.
        profile: its ``energy_response`` judges each ratio within the energies it speaks of.
    """
    method = text("trials.energy.method")
    nothing = text("trials.energy.nothing", instrument=subject.name)
    found, warnings = _points(subject, evidence)
    base = next((p for p in found if p.nuclide == REFERENCE), None)
    others = [p for p in found if p.nuclide != REFERENCE]
    if base is None:
        warnings.append(text("trials.energy.no_caesium"))
    if not others:
        warnings.append(text("trials.energy.no_other"))
    if base is not None and base.response.low <= 0.0:
        warnings.append(text("trials.energy.weak_caesium"))
        base = None
    if base is None or not others:
        return not_yet(NAME, subject, nothing, warnings, method)
    warnings += [
        text("trials.energy.unlike_truths", source=p.label) for p in others if p.by != base.by
    ]
    ratios = [(p, lv.over(p.response, base.response)) for p in others]
    judgements = [_judged(subject, p, ratio, base, profile) for p, ratio in ratios]
    judged = [j for j in judgements if j.verdict != "no criterion"]
    return Outcome(
        trial=NAME,
        instrument=subject.name,
        verdict=worst([j.verdict for j in judged or judgements]),
        statement=_statement(subject, ratios),
        runs=tuple(e.run.id for e in evidence),
        judgements=tuple(judgements),
        table=tuple(_row(subject, p, ratio) for p, ratio in ratios),
        charts=(_chart(subject, ratios, profile),),
        warnings=tuple(dict.fromkeys(warnings)),
        method=method,
    )


def _statement(subject: Counter, ratios: Sequence[tuple[Point, Estimate]]) -> str:
    """Where it departs most; a departure is one whose interval does not hold 1."""

    def size(pair: tuple[Point, Estimate]) -> float:
        return abs(math.log(max(pair[1].value, 1e-3)))

    departs = [pair for pair in ratios if not pair[1].low <= 1.0 <= pair[1].high]
    point, ratio = max(departs or ratios, key=size)
    return text(
        "trials.energy.statement" if departs else "trials.energy.alike",
        instrument=subject.name,
        ratio=format_estimate(ratio),
        source=point.label,
        energy=f"{point.energy_kev:.0f}",
    )


def _points(subject: Counter, evidence: Sequence[Evidence]) -> tuple[list[Point], list[str]]:
    background = [e for e in evidence if e.run.is_background]
    off = [e for e in background if e.counter.name == subject.name]
    warnings = [] if off else [text("trials.energy.no_background")]
    found = []
    own = _used(subject, evidence)
    for key in dict.fromkeys((e.run.sources, e.run.position) for e in own):
        group = [e for e in own if (e.run.sources, e.run.position) == key]
        label = " + ".join(key[0])
        energy = mean_photon_kev(group[0].nuclides)
        if energy is None:
            warnings.append(text("trials.energy.no_photons", source=label))
            continue
        shown = lv.net(group, off, lv.indicated_dose_rate)
        if shown is None:
            if off:
                warnings.append(text("trials.energy.no_dose", source=label))
            continue
        if shown.estimate.high < 0.0:
            warnings.append(text("trials.below_background", what=label))
            continue
        beside = [
            e
            for e in evidence
            if e.counter.name != subject.name and (e.run.sources, e.run.position) == key
        ]
        truth = _truth(group, beside, background)
        if truth is None:
            warnings.append(text("trials.energy.no_truth", source=label))
            continue
        if not key[1].absorbers and hard_betas(group[0].nuclides):
            warnings.append(text("trials.energy.betas", source=label))
        true, fixed, by = truth
        fixed = math.hypot(fixed, shown.fixed_u / max(abs(shown.estimate.value), 1e-30))
        response = lv.over(shown.estimate, true)
        found.append(Point(label, group[0].nuclides[0], energy, response, fixed, shown.seconds, by))
    # of a nuclide measured at several places the one with the smallest uncertainty speaks
    best = {p.nuclide: p for p in sorted(found, key=lambda p: -p.response.relative_u)}
    return sorted(best.values(), key=lambda p: p.energy_kev), warnings


def _truth(
    own: Sequence[Evidence], beside: Sequence[Evidence], background: Sequence[Evidence]
) -> tuple[Estimate, float, str] | None:
    """True dose rate: a reference calibrated for this nuclide (or all), else physics.

    Beside it the relative uncertainty that time cannot take away, and who says so.
    """
    for name, group in lv.by_counter([e for e in beside if e.counter.is_reference]):
        known = group[0].counter.sensitivity_per_s_per_usv_h
        sensitivity = known.get(own[0].nuclides[0], known.get("any"))
        off = [e for e in background if e.counter.name == name]
        net = lv.net(group, off, lv.count_rate)
        if sensitivity is not None and net is not None and net.estimate.low > 0.0:
            true = lv.over(net.estimate, sensitivity, lv.DOSE_RATE)
            return true, sensitivity.relative_u, name
    expected = own[0].expected_usv_h
    if expected is None or expected.low <= 0.0:
        return None
    return expected, expected.relative_u, text("trials.energy.by_physics")


def _judged(
    subject: Counter, p: Point, ratio: Estimate, base: Point, profile: Profile
) -> Judgement:
    covered = profile.covers("energy_response", p.energy_kev)
    fixed = abs(ratio.value) * math.hypot(p.fixed_relative, base.fixed_relative)
    return judge(
        text(
            "trials.energy.ratio",
            instrument=subject.name,
            source=p.label,
            energy=f"{p.energy_kev:.0f}",
        ),
        ratio,
        profile.criterion("energy_response") if covered else None,
        min(p.seconds, base.seconds),
        min(fixed, ratio.u),
    )


def _row(subject: Counter, p: Point, ratio: Estimate) -> Row:
    values: dict[str, Measured | str | float | int | None] = {
        "mean energy in keV": p.energy_kev,
        "indicated over true": Measured.of(p.response),
        "true dose rate, from": p.by,
        "relative to Cs-137": Measured.of(ratio),
    }
    curve = subject.predicted_energy
    if curve is not None:
        known = [
            (x, y) for x, y in zip(curve.x, curve.y, strict=True) if x is not None and y is not None
        ]
        if known and known[0][0] <= p.energy_kev <= known[-1][0]:
            at = np.log([x for x, _ in known])
            values["predicted"] = float(np.interp(np.log(p.energy_kev), at, [y for _, y in known]))
    return Row(label=p.label, instrument=subject.name, values=values)


def _chart(subject: Counter, ratios: Sequence[tuple[Point, Estimate]], profile: Profile) -> Chart:
    criterion = profile.criterion("energy_response")
    series = [
        points(subject.name, [p.energy_kev for p, _ in ratios], [r for _, r in ratios]).model_copy(
            update={"labels": tuple(p.label for p, _ in ratios)}
        )
    ]
    if subject.predicted_energy is not None:
        name = text("trials.predicted_curve")
        update = {"role": "expected", "name": name}
        series.append(subject.predicted_energy.model_copy(update=update))
    return Chart(
        question=text("trials.energy.question_chart"),
        x_title=text("trials.energy.axis_energy"),
        y_title=text("trials.energy.axis_ratio"),
        log_x=True,
        series=tuple(series),
        marks=ratio_marks(criterion, "y"),
    )


TRIAL = Trial(
    name=NAME,
    question=text("trials.energy.question"),
    needs=(
        text("trials.energy.need_sources"),
        text("trials.energy.need_truth"),
        text("trials.source_response.need_background"),
    ),
    bench_substitute=text("trials.energy.substitute"),
    cautions=(text("trials.caution_sources"),),
    plan=plan,
    analyse=analyse,
    serves=serves,
)
