"""Compare counters of a bench over its sources, and plan the day that makes it fair."""

from __future__ import annotations

import math
from collections.abc import Sequence
from typing import TYPE_CHECKING

from counterproof.bench import Bench
from counterproof.counting.planning import best_split
from counterproof.errors import UserError
from counterproof.kit import Instrument, Source
from counterproof.progress import Report, silent, step
from counterproof.records import Chart, Criterion, Measured, Run
from counterproof.records.comparison import Comparison, Placing, Ratio, Schedule, Slot
from counterproof.texts import text
from counterproof.trials import levels as lv
from counterproof.trials.criteria import profile as profile_named
from counterproof.trials.judge import judge
from counterproof.trials.pictures import ratio_chart
from counterproof.workshop.evidence import evidence_of

if TYPE_CHECKING:
    from counterproof.calibration.shootout import Seen
    from counterproof.quantities import Estimate
    from counterproof.trials.shape import Evidence

Place = tuple[tuple[str, ...], float | None]


def compare_instruments(
    bench: Bench,
    instruments: Sequence[str] = (),
    sources: Sequence[str] = (),
    profile_name: str = "grade_b",
    report: Report = silent,
) -> Comparison:
    """Compare counters over sources, each at the place where most counters stood before it.

    Args:
        bench: where the runs lie.
        instruments: which counters; all that have runs if empty.
        sources: which sources; all if empty.
        profile_name: acceptance profile for the verdict beside the grade.
        report: progress by counter.

    Raises:
        UserError: for an unknown name, fewer than two counters, or nothing to compare.
        Cancelled: if ``report`` answers ``False``.
    """
    from counterproof.calibration.shootout import Seen, rank

    with_runs = {r.instrument for r in bench.list(Run)}
    names = [bench.get(Instrument, n).name for n in instruments]
    names = names or [n for n in bench.names(Instrument) if n in with_runs]
    wanted = [bench.get(Source, s).name for s in sources]
    if len(names) < 2:
        raise UserError(text("compare.too_few", have=len(names)))
    references = [i.name for i in bench.list(Instrument) if i.calibration]
    by_counter: dict[str, list[Evidence]] = {}
    for done, name in enumerate(dict.fromkeys([*names, *references])):
        step(report, done, len(names) + len(references))
        by_counter[name] = [
            evidence_of(bench, r)
            for r in bench.list(Run, name)
            if not r.sources or not wanted or (len(r.sources) == 1 and r.sources[0] in wanted)
        ]
    criterion = profile_named(profile_name).criterion("ratio")
    places = _places([e for n in names for e in by_counter[n]])
    warnings: list[str] = []
    truth: dict[str, str] = {}
    ratios: list[Ratio] = []
    seen: dict[str, dict[str, Seen]] = {n: {} for n in names}
    for source, place in places.items():
        nets = {n: _net(by_counter[n], place) for n in names}
        what, true = _truth(place, by_counter, references, nets)
        if true is None:
            warnings.append(text("compare.no_truth", source=source))
            continue
        truth[source] = what
        for name in names:
            dose, counts, seconds = nets[name]
            if dose is None:
                warnings.append(text("compare.no_reading", instrument=name, source=source))
                continue
            ratio = lv.over(dose.estimate, true)
            judged = judge("", ratio, criterion, dose.seconds)
            ratios.append(
                Ratio(
                    instrument=name,
                    source=source,
                    ratio=Measured.of(ratio),
                    count_rate=Measured.of(counts.estimate) if counts else None,
                    minutes=round(seconds / 60.0, 1),
                    verdict=judged.verdict,
                )
            )
            if name == what:
                warnings.append(text("compare.own_truth", instrument=name, source=source))
            elif ratio.value > 0 and math.isfinite(dose.estimate.relative_u):
                own = min(dose.estimate.relative_u, 3.0)
                seen[name][source] = Seen(math.log(ratio.value), own, true.relative_u)
    ranking = rank(seen)
    return Comparison(
        instruments=tuple(names),
        sources=tuple(places),
        truth=truth,
        profile=profile_name,
        criterion=criterion,
        ratios=tuple(ratios),
        ranking=tuple(
            Placing(
                instrument=p.name,
                deviation_percent=100.0 * p.deviation,
                deviation_low=100.0 * p.low,
                deviation_high=100.0 * p.high,
                first=p.first,
                before_next=p.before_next,
                grade=p.grade,
                at_best=p.at_best,
                worst_source=p.worst_source,
                sources=p.sources,
            )
            for p in ranking.placings
        ),
        order_probability=ranking.order_probability,
        charts=_charts(names, ratios, criterion),
        warnings=tuple(dict.fromkeys(warnings)),
        method=text("compare.method"),
    )


def keep_comparison(bench: Bench, found: Comparison) -> Comparison:
    """Store a comparison and return it with its id; a later one of the same takes its place."""
    key = "comparison of " + " ".join(found.instruments)
    found = found.model_copy(update={"id": key.replace(" ", "-")[:120]})
    bench.put(found)
    return found


def _charts(
    names: Sequence[str], ratios: Sequence[Ratio], criterion: Criterion | None
) -> tuple[Chart, ...]:
    groups = []
    for name in names:
        own = [
            (r.source, r.ratio.estimate())
            for r in ratios
            if r.instrument == name and r.ratio is not None
        ]
        if own:
            groups.append((name, own))
    if not groups:
        return ()
    return (ratio_chart(text("compare.question"), groups, text("compare.axis"), criterion),)


def _places(evidence: Sequence[Evidence]) -> dict[str, Place]:
    """The place of each source where most counters stood before it, uncovered and from the front.

    Runs of altered counters (a probe plugged in) are left to the retest.
    """
    stood: dict[str, dict[Place, set[str]]] = {}
    for e in evidence:
        p = e.run.position
        if len(e.run.sources) != 1 or not p.is_open or e.run.probe:
            continue
        place = (e.run.sources, p.distance_mm)
        stood.setdefault(e.run.sources[0], {}).setdefault(place, set()).add(e.counter.name)
    return {
        source: max(by_place, key=lambda k: (len(by_place[k]), -(k[1] or 0.0)))
        for source, by_place in sorted(stood.items())
    }


def _at(evidence: Sequence[Evidence], place: Place) -> list[Evidence]:
    return [
        e
        for e in evidence
        if (e.run.sources, e.run.position.distance_mm) == place
        and not e.run.position.absorbers
        and e.run.position.angle_deg == 0.0
        and not e.run.probe
    ]


def _net(
    evidence: Sequence[Evidence], place: Place
) -> tuple[lv.Level | None, lv.Level | None, float]:
    here = _at(evidence, place)
    background = [e for e in evidence if e.run.is_background and not e.run.probe]
    dose = lv.net(here, background, lv.indicated_dose_rate)
    counts = lv.net(here, background, lv.count_rate)
    return dose, counts, sum(e.seconds for e in here)


def _truth(
    place: Place,
    by_counter: dict[str, list[Evidence]],
    references: Sequence[str],
    nets: dict[str, tuple[lv.Level | None, lv.Level | None, float]],
) -> tuple[str, Estimate | None]:
    """The dose rate at a place: by a reference for that nuclide, else by physics, else none."""
    for name in references:
        here = _at(by_counter[name], place)
        if not here:
            continue
        found = lv.sensitivity_for(here[0].counter, here[0].nuclides)
        if found is None or found[1] not in ("any", *here[0].nuclides):
            continue
        background = [e for e in by_counter[name] if e.run.is_background]
        level = lv.net_by_calibration(here, background)
        if level is not None and level.estimate.value > 0.0:
            return name, level.estimate
    for group in by_counter.values():
        expected = next((e.expected_usv_h for e in _at(group, place) if e.expected_usv_h), None)
        doses = [d.estimate for d, _, _ in nets.values() if d is not None]
        # a dose rate that no counter could have seen (a pure beta source) compares with nothing
        if expected is not None and any(expected.value > d.u for d in doses):
            return text("compare.physics"), expected
    return "", None


def plan_day(
    bench: Bench,
    instruments: Sequence[str],
    sources: Sequence[str],
    *,
    hours: float = 6.0,
    places: int = 1,
    pause_minutes: float = 3.0,
) -> Schedule:
    """Plan a day on which every counter stands at every place and background is interleaved.

    Args:
        bench: for the names.
        instruments: which counters.
        sources: which sources.
        hours: length of the day.
        places: how many counters stand before a source at once, without shading each other.
        pause_minutes: between slots, for moving.

    Raises:
        UserError: for an unknown name, no time, or a day too short to fill.
    """
    from counterproof.calibration.shootout import schedule_places

    names = [bench.get(Instrument, n).name for n in instruments]
    wanted = [bench.get(Source, s).name for s in sources]
    if len(names) < 2 or not wanted or not hours > 0.0 or pause_minutes < 0.0:
        raise UserError(text("compare.no_schedule"))
    blocks = len(names)
    rows = schedule_places(names, places, blocks)
    kinds = [s for _ in range(blocks) for s in ("", *wanted)] + [""]
    who = [row for row in rows for _ in ("", *wanted)] + [rows[0]]
    left = 60.0 * hours - pause_minutes * (len(kinds) - 1)
    if left < len(kinds):
        raise UserError(text("compare.day_too_short", slots=len(kinds), hours=f"{hours:g}"))
    # between background and sources as is best for a net rate of twice the background
    with_source = blocks * len(wanted)
    split = best_split(3.0, 1.0, left)
    slots, start = [], 0.0
    for number, (kind, row) in enumerate(zip(kinds, who, strict=True), start=1):
        share = split.gross_s / with_source if kind else split.background_s / (blocks + 1)
        slots.append(
            Slot(
                number=number,
                start_minute=round(start, 1),
                minutes=round(share, 1),
                source=kind,
                places=row,
            )
        )
        start += share + pause_minutes
    return Schedule(
        instruments=tuple(names),
        sources=tuple(wanted),
        slots=tuple(slots),
        total_minutes=round(start - pause_minutes, 1),
        remarks=(
            text("compare.remark_places"),
            text("compare.remark_background"),
            text("compare.remark_shade"),
        ),
        cautions=(text("trials.caution_sources"),),
    )
