"""From the runs of trials to the problem of a calibration.

Levels are the places of one nuclide's sources, without absorber and from the front; a reference
takes part where its own calibration holds for that nuclide. What is assumed where nobody measured
it stands in :class:`Assumptions`, each with its source.
"""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from typing import Literal

from counterproof.calibration.problem import (
    PRACTICE,
    Counted,
    Level,
    Prior,
    Problem,
    Reference,
)
from counterproof.errors import UserError
from counterproof.records.calibration import Link
from counterproof.texts import text
from counterproof.trials import levels as lv
from counterproof.trials.shape import Counter, Evidence

Signal = Literal["display", "counts"]
OFFSET = Prior(0.0, 2.0, source=PRACTICE)
SCATTER = Prior.within(0.05, 0.05, PRACTICE)
DEAD_TIME = Prior.within(120e-6, 80e-6, PRACTICE)


@dataclass(frozen=True, slots=True)
class Assumptions:
    """What is taken for granted where nobody measured it.

    Args:
        offset_mm: error of the effective centre, of every counter.
        scatter_per_m: dose rate scattered by air, table and room as a fraction of the direct one.
        dead_time_s: of a counter whose dead time is not known.
        distance_u_mm: of placing, where the run does not say.
    """

    offset_mm: Prior = OFFSET
    scatter_per_m: Prior = SCATTER
    dead_time_s: Prior = DEAD_TIME
    distance_u_mm: float = 1.0


@dataclass(frozen=True, eq=False)
class Gathered:
    """The problem of a calibration with what it rests on.

    Args:
        problem: for the fit.
        signal: what of the subject was used.
        links: what ties it to µSv/h; empty where nothing does.
        nuclides: of the sources used.
        background_usv_h: dose rate without source by a reference, where there is one.
        warnings: what was left out and why.
        runs: every run behind it.
    """

    problem: Problem
    signal: Signal
    links: tuple[Link, ...]
    nuclides: tuple[str, ...]
    background_usv_h: lv.Level | None
    warnings: tuple[str, ...]
    runs: tuple[str, ...]


def gather_levels(
    subject: Counter,
    evidence: Sequence[Evidence],
    standards: Mapping[str, Link],
    signal: Signal,
    assumed: Assumptions | None = None,
    nuclide: str = "",
) -> Gathered:
    """Return the calibration problem that runs pose.

    Args:
        subject: the counter to be calibrated.
        evidence: its runs with sources, its background runs, and those of references.
        standards: by name of a source or reference, what is known of its traceability.
        signal: set the displayed dose rate or the counts against the truth.
        assumed: priors of what nobody measured.
        nuclide: use sources of this one; the one with the most levels if empty.

    Raises:
        UserError: if no level or no background of the subject has the signal.
    """
    assumed = assumed or Assumptions()
    read = lv.displayed_dose_rate if signal == "display" else lv.count_rate
    own = [e for e in evidence if e.counter.name == subject.name]
    others = [e for e in evidence if e.counter.name != subject.name and e.counter.is_reference]
    places = _places(own, nuclide)
    if not places:
        raise UserError(text("calibration.no_levels"))
    nuclides = tuple(dict.fromkeys(n for group in places.values() for n in group[0].nuclides))
    background = _counted([e for e in own if e.run.is_background], read)
    if background is None:
        raise UserError(text("calibration.background_missing", instrument=subject.name))
    warnings: list[str] = []
    usable = [e for e in others if _holds(e.counter, nuclides)]
    strange = dict.fromkeys(e.counter.name for e in others if not _holds(e.counter, nuclides))
    kind = ", ".join(nuclides)
    warnings += [text("calibration.other_nuclide", reference=n, nuclide=kind) for n in strange]
    references = _references(usable, nuclides, assumed)
    levels: list[Level] = []
    sources: dict[str, Prior] = {}
    for (name, distance), group in places.items():
        seen = _counted(group, read)
        if seen is None:
            warnings.append(text("calibration.level_without", level=_label(name, distance)))
            continue
        beside = {r.name: c for r in references if (c := _beside(usable, r.name, name, distance))}
        known = group[0].expected_usv_h
        if known is not None and distance is not None:
            spread = _shared_u(known.relative_u, group[0], distance, assumed)
            sources[name] = min(sources.get(name, Prior(0.0, math.inf)), spread, key=lambda p: p.u)
        elif distance is not None:
            sources.setdefault(name, Prior(0.0, math.inf))
        elif not beside:
            warnings.append(text("calibration.level_untied", level=_label(name, distance)))
            continue
        levels.append(
            Level(
                _label(name, distance),
                seen,
                distance,
                group[0].run.position.distance_u_mm or assumed.distance_u_mm,
                name if distance is not None else None,
                known.value if known else (100.0 / distance) ** 2 if distance else math.nan,
                beside,
                tuple(e.run.id for e in group),
            )
        )
    if not levels:
        raise UserError(text("calibration.no_signal", instrument=subject.name, signal=signal))
    used = {n for level in levels for n in level.references}
    problem = Problem(
        tuple(levels),
        background,
        sources,
        tuple(r for r in references if r.name in used),
        assumed.offset_mm,
        assumed.scatter_per_m,
        _dead_time(subject, assumed),
        _gain(own, read),
        "µSv/h" if signal == "display" else "1/s",
    )
    problem, links = _tied(problem, standards, warnings)
    runs = [r for level in levels for r in level.runs]
    named = {level.source for level in levels}
    helpers = [e for e in usable if e.counter.name in used]
    shared = [e for e in (*own, *helpers) if e.run.is_background]
    shared += [e for e in helpers if e.run.sources and e.run.sources[0] in named]
    runs += [e.run.id for e in shared]
    there = lv.pool([e for e in usable if e.run.is_background], lv.reference_dose_rate)
    return Gathered(
        problem,
        signal,
        links,
        nuclides,
        there,
        tuple(dict.fromkeys(warnings)),
        tuple(dict.fromkeys(runs)),
    )


def _places(
    own: Sequence[Evidence], nuclide: str
) -> dict[tuple[str, float | None], list[Evidence]]:
    """The subject's runs by source and distance: of one nuclide, from the front, uncovered."""
    plain = [e for e in own if len(e.run.sources) == 1 and e.nuclides and e.run.position.is_open]
    by_nuclide: dict[tuple[str, ...], set[tuple[str, float | None]]] = {}
    for e in plain:
        key = (e.run.sources[0], e.run.position.distance_mm)
        by_nuclide.setdefault(e.nuclides, set()).add(key)
    wanted = [n for n in by_nuclide if not nuclide or nuclide in n]
    if not wanted:
        return {}
    chosen = max(wanted, key=lambda n: len(by_nuclide[n]))
    found: dict[tuple[str, float | None], list[Evidence]] = {}
    for e in plain:
        if e.nuclides == chosen:
            key = (e.run.sources[0], e.run.position.distance_mm)
            found.setdefault(key, []).append(e)
    return dict(sorted(found.items(), key=lambda item: -(item[0][1] or 0.0)))


def _label(name: str, distance: float | None) -> str:
    return name if distance is None else f"{name}, {distance:g} mm"


def _counted(group: Sequence[Evidence], read: lv.LevelOf) -> Counted | None:
    """Counts and time of runs: those counted, or those that a display's scatter is worth."""
    level = lv.pool(group, read)
    if level is None:
        return None
    e = level.estimate
    if e.unit == "1/s" and e.counts is not None:
        return Counted(e.counts, e.counts / e.value if e.value > 0 else level.seconds)
    if e.value <= 0 or not e.u > 0:
        return None
    counts = (e.value / e.u) ** 2
    clicks = lv.pool(group, lv.count_rate)
    per = clicks.estimate.value / e.value if clicks is not None else 0.0
    return Counted(counts, counts / e.value, per)


def _beside(
    others: Sequence[Evidence], reference: str, source: str, distance: float | None
) -> Counted | None:
    here = [
        e
        for e in others
        if e.counter.name == reference
        and e.run.sources == (source,)
        and e.run.position.distance_mm == distance
        and e.run.position.is_open
    ]
    return _counted(here, lv.count_rate)


def _holds(counter: Counter, nuclides: Sequence[str]) -> bool:
    found = lv.sensitivity_for(counter, nuclides)
    return found is not None and (found[1] == "any" or found[1] in nuclides)


def _references(
    others: Sequence[Evidence], nuclides: Sequence[str], assumed: Assumptions
) -> list[Reference]:
    found = []
    for name, group in lv.by_counter(others):
        counter = group[0].counter
        known = lv.sensitivity_for(counter, nuclides)
        background = _counted([e for e in group if e.run.is_background], lv.count_rate)
        if known is None or background is None:
            continue
        sensitivity, _ = known
        prior = Prior(0.0, sensitivity.relative_u, source=sensitivity.method)
        dead = _dead_time(counter, assumed)
        found.append(Reference(name, sensitivity.value, background, prior, assumed.offset_mm, dead))
    return found


def _dead_time(counter: Counter, assumed: Assumptions) -> Prior:
    if counter.dead_time_s is None:
        return assumed.dead_time_s
    return Prior(counter.dead_time_s, 0.3 * counter.dead_time_s, source=text("calibration.kit"))


def _gain(own: Sequence[Evidence], read: lv.LevelOf) -> Prior:
    """Efficiency of detection, which every count of the subject shares."""
    if read is not lv.count_rate:
        return Prior(0.0)
    trains = [e.pulses for e in own if e.pulses is not None]
    u = max((t.efficiency_u / t.efficiency for t in trains), default=0.0)
    return Prior(0.0, u, "A", source=text("calibration.detection"))


def _shared_u(relative: float, e: Evidence, distance: float, assumed: Assumptions) -> Prior:
    """The part of a source's uncertainty that all its levels share: that of distance taken out."""
    placing = 2.0 * (e.run.position.distance_u_mm or assumed.distance_u_mm / 2.0) / distance
    u = math.sqrt(max(relative**2 - placing**2, 1e-6))
    return Prior(0.0, u, source=text("calibration.source_u"))


def _tied(
    problem: Problem, standards: Mapping[str, Link], warnings: list[str]
) -> tuple[Problem, tuple[Link, ...]]:
    """Let only traceable links set the scale where there are any; return what sets it."""
    names = [n for n, p in problem.sources.items() if math.isfinite(p.u)]
    names += [r.name for r in problem.references]
    known = {n: standards[n] for n in names if n in standards}
    traceable = {n for n, link in known.items() if link.traceable}
    if traceable and traceable != set(known):
        left = sorted(set(known) - traceable)
        warnings.append(text("calibration.untraceable_left_out", names=", ".join(left)))
        sources = {
            n: p if n in traceable else Prior(0.0, math.inf) for n, p in problem.sources.items()
        }
        references = tuple(r for r in problem.references if r.name in traceable)
        kept = {r.name for r in references}
        levels = tuple(
            replace(level, references={n: c for n, c in level.references.items() if n in kept})
            for level in problem.levels
        )
        levels = tuple(x for x in levels if x.source is not None or x.references)
        problem = replace(problem, sources=sources, references=references, levels=levels)
        known = {n: link for n, link in known.items() if n in traceable}
    return problem, tuple(known.values())
