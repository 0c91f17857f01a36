"""Export a dossier's numbers and figures: CSV, JSON, SVG, PNG, and frames for a video.

Sound, photographs, notes and the names of places stay out unless they are chosen.
"""

from __future__ import annotations

import csv
import io
import re
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from pathlib import Path

from counterproof.charts import png, svg
from counterproof.charts.frame import frame
from counterproof.charts.table import plain
from counterproof.progress import Report, silent, step
from counterproof.records import Chart, Publication
from counterproof.records.results import ResultRow, results_of
from counterproof.safefile import atomic_write

PRINT_SCALE = 4.0
"""560 pixels of plotting area at four times make figures of 300 dots per inch across 19 cm."""


@dataclass(frozen=True, slots=True)
class Chosen:
    """What goes into an export beside numbers and figures."""

    places: bool = False
    notes: bool = False
    photos: bool = False
    frames: bool = False


def discreet(p: Publication, chosen: Chosen) -> Publication:
    """Return a publication without what was not chosen."""
    runs = []
    for run in p.runs:
        position = run.position
        if not chosen.places:
            position = position.model_copy(update={"place": ""})
        changed = {"position": position, "note": run.note if chosen.notes else ""}
        runs.append(run.model_copy(update=changed))
    update: dict[str, object] = {"runs": tuple(runs)}
    if not chosen.places:
        update["calibrations"] = tuple(
            c.model_copy(update={"validity": c.validity.model_copy(update={"place": ""})})
            for c in p.calibrations
        )
    if not chosen.photos:
        update["photos"] = ()
    if not chosen.notes:
        update["inspections"] = ()
    return p.model_copy(update=update)


def export(
    p: Publication, folder: Path, chosen: Chosen | None = None, report: Report = silent
) -> list[Path]:
    """Write results.csv, results.json, publication.json and the figures; return what was written.

    Args:
        p: what the dossier shows.
        folder: where to; made if missing.
        chosen: what goes in beside numbers and figures.
        report: progress by figure.

    Raises:
        UserError: if the folder cannot be written.
        Cancelled: if ``report`` answers ``False``; what was written stays.
    """
    chosen = chosen or Chosen()
    content = discreet(p, chosen)
    results = results_of(content)
    files: list[tuple[str, bytes]] = [
        ("results.csv", table(results.rows).encode("utf-8")),
        ("results.json", (results.to_json() + "\n").encode()),
        ("publication.json", (content.to_json() + "\n").encode()),
    ]
    written = [_write(folder / name, data) for name, data in files]
    charts = list(charts_of(content))
    for done, (name, chart) in enumerate(charts):
        step(report, done, len(charts))
        stem = folder / "figures" / name
        drawn = svg(chart, for_page=False).encode()
        written.append(_write(stem.with_suffix(".svg"), drawn))
        written.append(_write(stem.with_suffix(".png"), png(chart, scale=PRINT_SCALE)))
        if chosen.frames:
            written.append(_write(folder / "frames" / f"{name}.png", frame(chart)))
    step(report, len(charts), len(charts))
    return written


def table(rows: Sequence[ResultRow]) -> str:
    """Return rows as CSV with a heading; the columns are the fields of ``ResultRow``."""
    out = io.StringIO()
    writer = csv.writer(out, lineterminator="\n")
    writer.writerow(ResultRow.model_fields)
    for row in rows:
        cells = row.model_dump().values()
        writer.writerow("" if v is None else plain(v) if isinstance(v, str) else v for v in cells)
    return out.getvalue()


def charts_of(p: Publication) -> Iterator[tuple[str, Chart]]:
    """Return every chart with a name for its file."""
    groups: list[tuple[str, Sequence[Chart]]] = [(o.trial, o.charts) for o in p.outcomes]
    groups += [("retrofit", outlook.charts) for outlook in p.outlooks]
    groups += [(f"calibration {c.probe or ''}", c.charts) for c in p.calibrations]
    groups += [(f"retest {r.after or ''}", r.charts) for r in p.retests]
    groups += [("comparison", c.charts) for c in p.comparisons]
    used: set[str] = set()
    for name, charts in groups:
        for chart in charts:
            stem = re.sub(r"[^a-z0-9]+", "-", f"{name} {chart.question}".lower()).strip("-")[:80]
            while stem in used:
                stem += "-2"
            used.add(stem)
            yield stem, chart


def _write(path: Path, content: bytes) -> Path:
    path.parent.mkdir(parents=True, exist_ok=True)
    with atomic_write(path) as stream:
        stream.write(content)
    return path
