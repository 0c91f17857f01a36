"""What a dossier lacks, said where it matters."""

from __future__ import annotations

from collections.abc import Sequence
from itertools import combinations

from counterproof.bench import Bench
from counterproof.kit import Inspection, Instrument, KitItem, Source
from counterproof.records import Publication
from counterproof.records.calibration import Calibration
from counterproof.texts import text


def missing_of(item: KitItem) -> tuple[str, ...]:
    """Return what is not stated about an item and would be needed."""
    said = []
    if isinstance(item, Source):
        if item.activity is None:
            said.append(text("dossier.gap_activity"))
        elif item.activity_uncertainty is None:
            said.append(text("dossier.gap_activity_u"))
        if item.reference_date is None:
            said.append(text("dossier.gap_date"))
    if isinstance(item, Instrument):
        if not item.display:
            said.append(text("dossier.gap_display"))
        said += [text("dossier.gap_calibration_date") for c in item.calibration if c.date is None]
    return tuple(said)


def gaps_of(
    found: Publication, wanted: set[str], bench: Bench, lost_photos: Sequence[str]
) -> dict[str, tuple[str, ...]]:
    """Return by chapter what is missing.

    Args:
        found: the publication so far.
        wanted: ids of the runs that it rests on.
        bench: for inspections.
        lost_photos: sentences about photographs that could not be read.
    """
    gaps: dict[str, list[str]] = {}
    here = {r.id for r in found.runs}
    gone = sorted(wanted - here)
    if gone:
        gaps["runs"] = [text("dossier.gap_runs", n=len(gone), runs=", ".join(gone))]
    for o in found.outcomes:
        absent = [r for r in o.runs if r not in here]
        if absent:
            said = text("dossier.gap_outcome", n=len(absent), runs=", ".join(absent))
            gaps.setdefault(o.trial, []).append(said)
    for c in found.calibrations:
        absent = [r for level in c.levels for r in level.runs if r not in here]
        if absent:
            said = text("dossier.gap_outcome", n=len(absent), runs=", ".join(absent))
            gaps.setdefault("calibration", []).append(said)
    known = {i.name for i in found.items}
    named = dict.fromkeys(s for r in found.runs for s in r.sources)
    lost = [s for s in named if s not in known]
    if lost:
        gaps["things"] = [text("dossier.gap_items", names=", ".join(lost))]
    gaps.setdefault("calibration", []).extend(contradictions(found.calibrations))
    if not found.calibrations:
        gaps["calibration"].append(text("dossier.gap_calibration"))
    if not found.findings:
        gaps["findings"] = [text("dossier.gap_findings")]
    if not found.outlooks:
        gaps["retrofit"] = [text("dossier.gap_outlook")]
    if not found.retests:
        gaps["retest"] = [text("dossier.gap_retest")]
    names = {i.of for i in bench.list(Inspection)}
    if found.instrument not in names:
        gaps["inspection"] = [text("dossier.gap_inspection")]
    if lost_photos:
        gaps.setdefault("photos", []).extend(lost_photos)
    elif not found.photos:
        gaps["photos"] = [text("dossier.gap_photos")]
    return {k: tuple(v) for k, v in gaps.items() if v}


def contradictions(calibrations: Sequence[Calibration]) -> list[str]:
    """Say which calibrations of one probe and nuclide give factors whose intervals do not meet."""
    said = []
    for a, b in combinations(calibrations, 2):
        same = (a.probe, a.switch_state, a.validity.nuclides) == (
            b.probe,
            b.switch_state,
            b.validity.nuclides,
        )
        if not same:
            continue
        for x in a.bands:
            for y in b.bands:
                if x.name != y.name or x.factor is None or y.factor is None:
                    continue
                ends = (x.factor.low, x.factor.high, y.factor.low, y.factor.high)
                if None not in ends and (
                    (x.factor.high or 0.0) < (y.factor.low or 0.0)
                    or (y.factor.high or 0.0) < (x.factor.low or 0.0)
                ):
                    said.append(
                        text(
                            "dossier.gap_contradiction",
                            first=a.validity.dated or "?",
                            second=b.validity.dated or "?",
                            where=x.where,
                        )
                    )
    return said
