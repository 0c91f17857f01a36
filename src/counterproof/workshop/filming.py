"""Readings out of a video: watch it, key a sheet or use one, hand on logs and records."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING

import numpy as np

from counterproof.errors import UserError
from counterproof.progress import Report, silent
from counterproof.records import Measured
from counterproof.records.video import Asked, FieldReadings, VideoReport
from counterproof.signals.trains import PulseTrain
from counterproof.texts import text

if TYPE_CHECKING:
    from counterproof.signals.video import Box, Format, Glyphs, Sheet, VideoReadings, Watched

FIELDS = ("momentary", "average", "accumulated")
AT_ONCE = 6
"""Doubtful stills that are asked in one go."""
_SELDOM = 0.001
"""What stood for a smaller share of the video is not worth a question."""
_QUANTITIES = {"/": "dose_rate", "cpm": "count_rate", "cps": "count_rate", "counts": "counts"}


@dataclass(frozen=True)
class Declared:
    """What a person says about a display.

    Args:
        regions: the display, or each of its numbers.
        formats: the format of each number.
        units: the unit of each.
        fields: which register each is.
        every_s: time between stills.
        at_s: time of the still on which regions were marked.
        lamp: where a pulse lamp is.
    """

    regions: tuple[Box, ...]
    formats: tuple[Format, ...]
    units: tuple[str, ...]
    fields: tuple[str, ...]
    every_s: float
    at_s: float = 0.0
    lamp: Box | None = None


@dataclass(frozen=True, eq=False)
class FromVideo:
    """What a video gave.

    Args:
        watched: the video, gone through once.
        readings: of each number; empty while too little was keyed.
        sheet: the stills, with those still to key.
        flashes: of the pulse lamp, if one was marked.
    """

    watched: Watched
    readings: tuple[VideoReadings, ...]
    sheet: Sheet
    flashes: PulseTrain | None

    @property
    def warnings(self) -> tuple[str, ...]:
        """Sentences that the reader of a result must see."""
        found = [*self.watched.video.warnings]
        for each in self.readings:
            found += each.warnings
        if self.flashes is not None:
            found += self.flashes.warnings
        return tuple(dict.fromkeys(found))


def declared(
    regions: Sequence[str],
    formats: Sequence[str],
    units: Sequence[str],
    fields: Sequence[str] = (),
    *,
    every_s: float = 0.2,
    at_s: float = 0.0,
    lamp: str | None = None,
) -> Declared:
    """Return what was typed about a display, checked.

    Raises:
        UserError: if a region, format, unit or field is missing or cannot be.
    """
    from counterproof.quantities.units import dimension_name
    from counterproof.signals.video import Box, Format

    if not regions:
        raise UserError(text("video.no_region"))
    if not formats or len(units) not in (1, len(formats)):
        raise UserError(text("video.format_and_unit"))
    if len(regions) not in (1, len(formats)):
        raise UserError(text("video.regions_formats", regions=len(regions), formats=len(formats)))
    count = len(formats)
    names = tuple(fields) or FIELDS[:count]
    if len(names) != count or any(n not in FIELDS for n in names):
        raise UserError(text("video.which_fields", fields=", ".join(FIELDS)))
    if not every_s > 0:
        raise UserError(text("video.every"))
    for unit in units:
        dimension_name(unit)
    return Declared(
        tuple(Box.parse(r) for r in regions),
        tuple(Format.parse(f) for f in formats),
        tuple(units) if len(units) == count else tuple(units) * count,
        names,
        every_s,
        at_s,
        None if lamp is None else Box.parse(lamp),
    )


def quantity_of(unit: str) -> str:
    """Return what kind of number a displayed unit stands for."""
    return next((q for mark, q in _QUANTITIES.items() if mark in unit), "dose")


def read_video(
    path: Path, what: Declared, teach: Path | None = None, report: Report = silent
) -> FromVideo:
    """Watch a video and read its display as far as it was taught.

    Args:
        path: the video.
        what: regions, formats, units.
        teach: a sheet's table with what was keyed, or learned glyphs; ``None`` for a first sheet.
        report: progress, in seconds of video.

    Raises:
        UserError: if a file cannot be read or the region holds no number.
        Cancelled: if ``report`` says so.
    """
    from counterproof.signals.video import watch

    sheet, ready = _taught(teach)
    watched = watch(
        path,
        what.regions,
        fields=len(what.formats),
        at_s=what.at_s,
        every_s=what.every_s,
        lamp=what.lamp,
        report=report,
    )
    return _read(watched, what, sheet, ready)


def read_again(found: FromVideo, what: Declared) -> FromVideo:
    """Read a video that was watched, with what was keyed into its sheet since."""
    return _read(found.watched, what, found.sheet, None)


def _read(watched: Watched, what: Declared, sheet: Sheet | None, ready: Glyphs | None) -> FromVideo:
    from counterproof.signals.video import Sheet, flashes_of, read, sheet_of

    flashes = None if what.lamp is None else flashes_of(watched)
    if ready is None and (sheet is None or not sheet.keyed):
        sheet = sheet_of(watched, what.formats) if sheet is None or not sheet.stills else sheet
        return FromVideo(watched, (), sheet, flashes)
    sheet = sheet or Sheet()
    readings = tuple(
        read(
            watched,
            ready if ready is not None else sheet.glyphs(place),
            form,
            unit=unit,
            quantity=quantity_of(unit),
            name=name,
            place=place,
            keyed=sheet.of(place),
        )
        for place, (form, unit, name) in enumerate(
            zip(what.formats, what.units, what.fields, strict=True)
        )
    )
    if not sheet.open:
        worth = _SELDOM * watched.scan.duration_s
        asked = [s for r in readings for s in r.asked if s.seconds > worth]
        sheet.ask(sorted(asked, key=lambda s: -s.seconds)[:AT_ONCE])
    return FromVideo(watched, readings, sheet, flashes)


def _taught(path: Path | None) -> tuple[Sheet | None, Glyphs | None]:
    from counterproof.signals.sniff import read_head
    from counterproof.signals.video import Glyphs, Sheet

    if path is None:
        return None, None
    if read_head(path).startswith(b"PK"):
        return None, Glyphs.load(path)
    return Sheet.load(path), None


def report_of(
    path: Path, what: Declared, found: FromVideo, sheet: Path | None, clicks: PulseTrain | None
) -> VideoReport:
    """Return what a video gave as a record.

    Args:
        path: the video.
        what: as declared.
        found: what it gave.
        sheet: where the sheet was written, if it was.
        clicks: of the same file, to compare the clocks.
    """
    from counterproof.signals.video.refresh import clock_offset

    each = [_field(r) for r in found.readings]
    if not each:
        each = [
            FieldReadings(
                field=name,
                quantity=quantity_of(unit),
                unit=unit,
                quantum=form.quantum,
                times_s=[],
                values=[],
                confidence=[],
                given_share=0.0,
            )
            for name, unit, form in zip(what.fields, what.units, what.formats, strict=True)
        ]
    flashes = None if found.flashes is None else found.flashes.times_s
    offset = None
    if flashes is not None and clicks is not None:
        offset = clock_offset(clicks.times_s, flashes)
    scanned = found.watched.scan
    return VideoReport(
        file=str(path),
        duration_s=scanned.duration_s,
        gaps_s=[(round(float(a), 3), round(float(b), 3)) for a, b in scanned.gaps_s],
        asked=[
            Asked(
                number=s.number,
                field=s.place + 1,
                time_s=round(s.time_s, 3),
                guess=s.guess,
                why=s.why,
                seconds=round(s.seconds, 3),
            )
            for s in found.sheet.open
        ],
        keyed=len(found.sheet.keyed),
        sheet="" if sheet is None else str(sheet),
        more=tuple(each[1:]),
        flashes_s=None if flashes is None else [round(float(t), 4) for t in flashes],
        clock_offset_s=None if offset is None else Measured.of(offset),
        warnings=list(found.warnings),
        **dict(each[0]),
    )


def _field(readings: VideoReadings) -> FieldReadings:
    refresh = readings.refresh
    return FieldReadings(
        field=readings.field,
        quantity=readings.quantity,
        unit=readings.unit,
        quantum=readings.quantum,
        times_s=np.round(readings.times_s, 4).tolist(),
        values=readings.values.tolist(),
        confidence=np.round(readings.confidence, 4).tolist(),
        refresh_s=None if refresh is None else Measured.of(refresh.period),
        given_share=readings.given_share,
    )
