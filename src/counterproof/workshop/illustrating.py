"""What a dossier shows beside its trials: geometries, raw figures, inspections, photographs."""

from __future__ import annotations

import base64
import hashlib
from collections.abc import Sequence

from counterproof.bench import Bench
from counterproof.bench.photos import without_metadata
from counterproof.bench.places import place
from counterproof.errors import UserError
from counterproof.kit import Inspection, KitItem
from counterproof.records import Measured, Run
from counterproof.records.publication import Inspected, Photo, Seen, Sketch, Tally
from counterproof.texts import text
from counterproof.trials.levels import count_rate, displayed_dose_rate
from counterproof.workshop.evidence import evidence_of


def sketches_of(runs: Sequence[Run]) -> tuple[Sketch, ...]:
    """Return each geometry once, with who stood in it."""
    groups: dict[tuple[object, ...], list[Run]] = {}
    for run in runs:
        p = run.position
        key = (run.sources, p.distance_mm, p.angle_deg, p.absorbers)
        groups.setdefault(key, []).append(run)
    sketches = []
    for group in groups.values():
        first = group[0]
        source = " + ".join(first.sources)
        sketches.append(
            Sketch(
                label=source or text("dossier.background"),
                source=source,
                instruments=tuple(dict.fromkeys(r.instrument for r in group)),
                distance_mm=first.position.distance_mm,
                angle_deg=first.position.angle_deg,
                absorbers=first.position.absorbers,
                runs=len(group),
            )
        )
    return tuple(sorted(sketches, key=lambda s: (s.source, -(s.distance_mm or 0.0), s.angle_deg)))


def tallies_of(bench: Bench, runs: Sequence[Run]) -> tuple[Tally, ...]:
    """Return counts, times and displayed values of each run; one that cannot be read says why."""
    found = []
    for run in runs:
        try:
            evidence = evidence_of(bench, run)
            level, shown = count_rate(evidence), displayed_dose_rate(evidence)
        except UserError as error:
            found.append(Tally(run=run.id, how=error.message))
            continue
        found.append(
            Tally(
                run=run.id,
                counts=level.estimate.counts if level else None,
                live_s=level.seconds if level else None,
                rate=Measured.of(level.estimate) if level else None,
                shown=Measured.of(shown.estimate) if shown else None,
                how="; ".join(x.how for x in (level, shown) if x is not None),
            )
        )
    return tuple(found)


def inspections_of(bench: Bench, items: Sequence[KitItem]) -> tuple[Inspected, ...]:
    """Return the inspections of the things in a dossier, the oldest first."""
    names = {i.name for i in items}
    held = [i for i in bench.list(Inspection) if i.of in names]
    return tuple(
        Inspected(
            of=i.of,
            dated=i.date,
            by=i.by,
            seen=tuple(
                Seen(part=p.part, note=p.note, marking=p.marking, measured=p.measured)
                for p in i.part
            ),
            handling={k: v for k, v in i.handling.model_dump().items() if v},
            changes=tuple((c.what, c.undo) for c in i.change),
            note=i.note,
        )
        for i in sorted(held, key=lambda i: (i.date, i.name))
    )


def photos_of(bench: Bench, items: Sequence[KitItem]) -> tuple[tuple[Photo, ...], list[str]]:
    """Return the photographs of things and their inspections, and sentences about lost ones."""
    names = {i.name for i in items}
    wanted: list[tuple[str, str, str]] = []
    for item in items:
        wanted += [(item.name, item.name, p) for p in getattr(item, "photos", ())]
    for i in bench.list(Inspection):
        if i.of in names:
            wanted += [(i.of, f"{i.of}, {p.part}: {p.note}", x) for p in i.part for x in p.photos]
            wanted += [(i.of, f"{i.of}: {c.what}", x) for c in i.change for x in c.photos]
    photos, lost = [], []
    for of, caption, name in dict.fromkeys(wanted):
        try:
            content = _photo(bench, name)
        except UserError as error:
            lost.append(text("dossier.gap_photo", of=of, name=name, reason=error.message))
            continue
        photos.append(
            Photo(
                of=of,
                caption=caption,
                media="image/png" if content.startswith(b"\x89PNG") else "image/jpeg",
                sha256=hashlib.sha256(content).hexdigest(),
                data=base64.b64encode(content).decode(),
            )
        )
    return tuple(photos), lost


def _photo(bench: Bench, name: str) -> bytes:
    """Read a photograph, once more without what a camera writes into it.

    Raises:
        UserError: if it is not there, or is no photograph.
    """
    try:
        content = place(bench.folder, name).read_bytes()
    except OSError as error:
        raise UserError(text("dossier.photo_unread", reason=error.strerror)) from None
    return without_metadata(content, name)[0]
