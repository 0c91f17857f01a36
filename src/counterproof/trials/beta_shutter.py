"""Beta shutter: a source with and without absorbers between.

Answers how much of a counter's rate near a source is betas, how thick its wall is to them, and
which betas reach its gas at all. Two runs give the share; four or more absorbers give the wall.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

import counterproof.trials.wall as wl
from counterproof.counting.planning import split_for_relative
from counterproof.errors import UserError
from counterproof.quantities import Estimate
from counterproof.quantities.format import format_estimate, format_interval
from counterproof.records import Chart, Measured, Outcome, Plan, PlannedRun, Row, Series
from counterproof.records.outcome import worst
from counterproof.texts import text
from counterproof.trials import levels as lv
from counterproof.trials.criteria import Profile
from counterproof.trials.judge import judge
from counterproof.trials.shape import Ask, Counter, Evidence, Trial
from counterproof.trials.shared import not_yet, plan_of, points

NAME = "beta shutter"
PLATES_MG_CM2 = (0, 30, 120, 350, 700, 1200)
SEEN = 2.0  # standard uncertainties above the closed rate; common practice, no source


@dataclass(frozen=True)
class Shutter:
    """One counter's net rates by absorber near one source.

    Args:
        levels: absorbers (none first) with the net level behind them, by rising mass per area.
        closed: whether the thickest stops the source's hardest betas.
        share: beta share of the open net rate; a lower bound unless ``closed``.
    """

    name: str
    levels: tuple[tuple[tuple[wl.Absorber, ...], lv.Level], ...]
    closed: bool
    share: Estimate

    @property
    def areal_mg_cm2(self) -> list[float]:
        """Mass per area of each absorber."""
        return [wl.areal_of(a) for a, _ in self.levels]


def plan(ask: Ask) -> Plan:
    """Plan a run behind each absorber and one without the source."""
    gross = ask.background_per_s + ask.source_per_s
    split = split_for_relative(gross, ask.background_per_s, ask.relative_u)
    runs = []
    for counter in (ask.subject, *ask.references):
        runs += [
            PlannedRun(
                instrument=counter.name,
                what=text("trials.shutter.run" if areal else "trials.shutter.open", areal=areal),
                minutes=split.gross_s / 60.0,
                sources=ask.sources[:1],
            )
            for areal in PLATES_MG_CM2
        ]
        runs.append(
            PlannedRun(
                instrument=counter.name,
                what=text("trials.source_response.background"),
                minutes=split.background_s / 60.0,
            )
        )
    return plan_of(TRIAL, runs, text("trials.shutter.expected"))


def _scenes(name: str, evidence: Sequence[Evidence]) -> dict[object, list[Evidence]]:
    """Runs of a counter by source, distance and angle, where absorbers differ."""
    scenes: dict[object, list[Evidence]] = {}
    for e in evidence:
        if e.counter.name == name and e.run.with_source:
            p = e.run.position
            scenes.setdefault((e.run.sources, p.distance_mm, p.angle_deg), []).append(e)
    return {
        k: runs for k, runs in scenes.items() if len({e.run.position.absorbers for e in runs}) > 1
    }


def serves(subject: Counter, evidence: Sequence[Evidence]) -> bool:
    """Whether a source was measured with and without an absorber, or behind two."""
    return bool(_scenes(subject.name, evidence))


def analyse(subject: Counter, evidence: Sequence[Evidence], profile: Profile) -> Outcome:
    """Give beta share, effective wall and the betas that reach the gas, for each source.

    Args:
        subject: the counter under test.
        evidence: runs of a source at one place with and without absorbers, and background runs;
            the same of references.
        profile: a ``beta_share`` of one's own judges the share; shipped profiles have none.
    """
    scenes = _scenes(subject.name, evidence)
    warnings: list[str] = []
    if not scenes:
        warnings.append(text("trials.shutter.no_series"))
    judgements, rows, charts, parts, used = [], [], [], [], []
    for key, runs in scenes.items():
        label = " + ".join(runs[0].run.sources)
        mine, missing = _shutter(subject.name, runs, evidence, label)
        warnings += missing
        if mine is None:
            continue
        used += runs
        fit, notes = _wall(mine, runs[0], label)
        warnings += notes
        rows.append(_row(label, mine, fit))
        quantity = text("trials.shutter.share", instrument=subject.name, source=label)
        seconds = mine.levels[0][1].seconds
        # a share that is only a lower bound is stated, not judged
        criterion = profile.criterion("beta_share") if mine.closed else None
        judgements.append(judge(quantity, mine.share, criterion, seconds))
        others = _others(subject, key, evidence, label)
        rows += [_row(label, other, None) for other in others]
        parts.append(_sentence(label, mine, fit, others))
        charts.append(_chart(label, [mine, *others], fit))
    method = text("trials.shutter.method")
    if not judgements:
        nothing = text("trials.shutter.nothing", instrument=subject.name)
        return not_yet(NAME, subject, nothing, warnings, method)
    return Outcome(
        trial=NAME,
        instrument=subject.name,
        verdict=worst([j.verdict for j in judgements]),
        statement=f"{subject.name}: " + " ".join(parts),
        runs=tuple(e.run.id for e in used),
        judgements=tuple(judgements),
        table=tuple(rows),
        charts=tuple(charts),
        warnings=tuple(dict.fromkeys(warnings)),
        method=method,
    )


def _shutter(
    name: str, runs: Sequence[Evidence], evidence: Sequence[Evidence], label: str
) -> tuple[Shutter | None, list[str]]:
    """Net levels by absorber of one counter, or what is missing for them."""
    off = [e for e in evidence if e.counter.name == name and e.run.is_background]
    if not off:
        return None, [text("trials.shutter.no_background", source=label)]
    by_absorber: dict[tuple[wl.Absorber, ...], list[Evidence]] = {}
    for e in runs:
        by_absorber.setdefault(e.run.position.absorbers, []).append(e)
    if () not in by_absorber:
        return None, [text("trials.shutter.no_open", source=label)]
    try:
        order = sorted(by_absorber, key=wl.areal_of)
    except UserError as error:
        return None, [error.message]
    for level in (lv.count_rate, lv.displayed_dose_rate):
        found = [(a, lv.net(by_absorber[a], off, level)) for a in order]
        levels = tuple((a, n) for a, n in found if n is not None)
        if len(levels) > 1 and levels[0][0] == ():
            break
    else:
        return None, [text("trials.shutter.no_signal", source=label)]
    open_net, closed_net = levels[0][1].estimate, levels[-1][1].estimate
    if open_net.low <= 0.0:
        return None, [text("trials.shutter.weak", source=label)]
    end = wl.end_point_mev(runs[0].nuclides)
    thickest = levels[-1][0]
    closed = end is not None and wl.areal_of(thickest) >= wl.beta_range_mg_cm2(end)
    notes = []
    if end is None:
        notes.append(text("trials.shutter.unknown_source", source=label))
    elif not closed:
        needed = f"{wl.beta_range_mg_cm2(end):.0f}"
        notes.append(text("trials.shutter.not_closed", source=label, needed=needed))
    share = _share(open_net, closed_net, wl.photon_share(thickest, runs[0].nuclides))
    return Shutter(name, levels, closed, share), notes


def _share(open_net: Estimate, closed_net: Estimate, narrow: float) -> Estimate:
    """1 - closed/open, the closed rate raised for what the absorber takes of the photons.

    How much it takes lies between nothing (all scattered photons still counted) and the narrow-beam
    attenuation; the middle is used, the rest is uncertainty.
    """
    kept = 0.5 * (1.0 + narrow)
    spread = 0.5 * (1.0 - narrow)
    ratio = lv.over(closed_net, open_net)
    value = 1.0 - ratio.value / kept
    u = math.hypot(ratio.u / kept, ratio.value * spread / math.sqrt(3.0) / kept**2)
    low = 1.0 - ratio.high / (kept - spread) if ratio.high > 0.0 else 1.0 - ratio.high
    high = 1.0 - max(ratio.low, 0.0)
    return Estimate(value, u, min(low, value), max(high, value), 0.95, "", ratio.counts, "1 - net")


def _wall(mine: Shutter, e: Evidence, label: str) -> tuple[wl.WallFit | None, list[str]]:
    """Fit the wall where there are betas and absorbers enough; say why not otherwise."""
    if mine.share.low <= 0.0:
        return None, [text("trials.shutter.no_betas", source=label)]
    series = [(a, level.estimate) for a, level in mine.levels]
    known = wl.Between(e.cover_mg_cm2 or 0.0, (e.run.position.distance_mm or 0.0) / 10.0)
    fit = wl.fit_wall(series, e.nuclides, known)
    if fit is None:
        need = wl.FEWEST
        return None, [text("trials.shutter.too_few", source=label, have=len(series), need=need)]
    notes = []
    if fit.misfit_p < 0.01:
        notes.append(text("trials.shutter.misfit", source=label, p=f"{fit.misfit_p:.1g}"))
    if e.cover_mg_cm2 is None:
        notes.append(text("trials.shutter.cover", source=label))
    if e.run.position.distance_mm is None:
        notes.append(text("trials.shutter.air", source=label))
    return fit, notes


def reaching(mine: Shutter) -> tuple[float, float]:
    """Return between which absorbers (mg/cm²) the last betas vanish; ``inf`` when none do."""
    closed = mine.levels[-1][1].estimate
    seen, gone = 0.0, math.inf
    for areal, (_, level) in zip(mine.areal_mg_cm2[:-1], mine.levels[:-1], strict=True):
        apart = level.estimate.value - closed.value
        if apart > SEEN * math.hypot(level.estimate.u, closed.u):
            seen, gone = areal, math.inf
        else:
            gone = min(gone, areal)
    return seen, min(gone, mine.areal_mg_cm2[-1])


def _others(
    subject: Counter, key: object, evidence: Sequence[Evidence], label: str
) -> list[Shutter]:
    """The same scene as other counters saw it, where they have open and closed runs."""
    others = []
    for name in dict.fromkeys(e.counter.name for e in evidence if e.counter.name != subject.name):
        runs = _scenes(name, evidence).get(key)
        theirs = _shutter(name, runs, evidence, label)[0] if runs else None
        if theirs is not None:
            others.append(theirs)
    return others


def _row(label: str, found: Shutter, fit: wl.WallFit | None) -> Row:
    seen, gone = reaching(found)
    values: dict[str, Measured | str | float | int | None] = {
        "beta share" if found.closed else "beta share, at least": Measured.of(found.share),
        **{
            f"net rate behind {areal:.3g} mg/cm²": Measured.of(level.estimate)
            for areal, (_, level) in zip(found.areal_mg_cm2, found.levels, strict=True)
        },
    }
    if found.share.low > 0.0:
        values["betas seen behind, mg/cm²"] = seen
        values["no longer behind, mg/cm²"] = gone
    if fit is not None:
        values["effective wall"] = Measured.of(fit.wall)
        values["cover and air taken off, mg/cm²"] = fit.known.areal_mg_cm2
        values["p of the absorber series"] = fit.misfit_p
        # what comes through the wall alone has at least this end point
        values["softest end point that reaches the gas, MeV"] = wl.energy_of_range_mev(
            max(fit.through, 0.1)
        )
    if seen > 0.0:
        values["end point above, MeV"] = wl.energy_of_range_mev(seen)
    return Row(label=label, instrument=found.name, values=values)


def end_point_class(mine: Shutter, fit: wl.WallFit | None) -> str:
    """Return which betas reach the gas: soft, medium, hard or none, by what they pass.

    Bounds 0.3 and 1 MeV: this project's own.
    """
    if mine.share.low <= 0.0:
        return text("trials.shutter.class_none")
    if fit is None or not math.isfinite(fit.wall.high):
        return text("trials.shutter.class_some")
    least = wl.energy_of_range_mev(max(fit.through, 0.1))
    words = "soft" if least < 0.3 else "medium" if least < 1.0 else "hard"
    return text(f"trials.shutter.class_{words}", energy=f"{least:.2g}")


def _sentence(label: str, mine: Shutter, fit: wl.WallFit | None, others: Sequence[Shutter]) -> str:
    share = mine.share.scaled(100.0, "%")
    key = "part" if mine.closed else "part_at_least"
    said = text(f"trials.shutter.{key}", source=label, share=format_estimate(share))
    said += " " + end_point_class(mine, fit)
    if fit is not None:
        e = fit.wall
        interval = format_interval(e.low, e.high, e.coverage, e.unit)
        said += " " + text("trials.shutter.wall", wall=format_estimate(e), interval=interval)
    for other in others:
        theirs = format_estimate(other.share.scaled(100.0, "%"))
        said += " " + text("trials.shutter.other", name=other.name, share=theirs)
    return said


def _chart(label: str, shutters: Sequence[Shutter], fit: wl.WallFit | None) -> Chart:
    series = []
    for each in shutters:
        first = each.levels[0][1].estimate.value
        scaled = [level.estimate.scaled(1.0 / first, "") for _, level in each.levels]
        series.append(points(each.name, each.areal_mg_cm2, scaled))
    if fit is not None:
        first = shutters[0].levels[0][1].estimate.value
        order = np.argsort(fit.areal_mg_cm2)
        series.append(
            Series(
                name=text("trials.shutter.curve"),
                role="expected",
                x=tuple(float(x) for x in fit.areal_mg_cm2[order]),
                y=tuple(float(y) / first for y in fit.rate[order]),
            )
        )
    return Chart(
        question=text("trials.shutter.question_chart", source=label),
        x_title=text("trials.shutter.axis_areal"),
        y_title=text("trials.shutter.axis_rate"),
        series=tuple(series),
    )


TRIAL = Trial(
    name=NAME,
    question=text("trials.shutter.question"),
    needs=(
        text("trials.shutter.need_absorbers"),
        text("trials.shutter.need_source"),
        text("trials.source_response.need_background"),
    ),
    bench_substitute=text("trials.shutter.substitute"),
    cautions=(text("trials.shutter.caution"), text("trials.caution_sources")),
    plan=plan,
    analyse=analyse,
    serves=serves,
)
