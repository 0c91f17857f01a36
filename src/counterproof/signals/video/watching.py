"""A video watched once, and what can then be asked of it: a sheet to key, readings, flashes."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from pathlib import Path

from counterproof.progress import Report, silent
from counterproof.signals.trains import PulseTrain
from counterproof.signals.video.formats import Format
from counterproof.signals.video.frames import Box, Video, open_video
from counterproof.signals.video.glyphs import Glyphs
from counterproof.signals.video.lamp import find_flashes
from counterproof.signals.video.layout import Layout, survey
from counterproof.signals.video.reading import VideoReadings, read_looks
from counterproof.signals.video.scan import EVERY_S, Scan, scan
from counterproof.signals.video.sheet import Sheet, Still, first_sheet


@dataclass(frozen=True, eq=False)
class Watched:
    """A video gone through once.

    Args:
        video: the file, with its warnings.
        layout: where its numbers stand.
        scan: what each looked like, from when to when.
    """

    video: Video
    layout: Layout
    scan: Scan


def watch(
    path: str | Path,
    regions: Box | Sequence[Box],
    *,
    fields: int = 1,
    at_s: float = 0.0,
    every_s: float = EVERY_S,
    lamp: Box | None = None,
    report: Report = silent,
) -> Watched:
    """Go once through a video; all that follows is quick.

    Args:
        path: MP4, MOV, MKV or another container with a picture.
        regions: the display as it lies in the upright still at ``at_s``; or one region per number.
        fields: how many numbers to find in a single region: the largest, then from the top.
        at_s: time of the still on which the region was marked.
        every_s: time between the stills that are looked at; a change is known to a frame anyway.
        lamp: where a pulse lamp is.
        report: progress, in seconds of video.

    Raises:
        UserError: if the file cannot be read, has no picture, or the region holds no number.
        Cancelled: if ``report`` answers ``False``.
    """
    video = open_video(path)
    layout = survey(video, regions, fields=fields, at_s=at_s, report=report)
    return Watched(video, layout, scan(video, layout, every_s=every_s, lamp=lamp, report=report))


def sheet_of(watched: Watched, forms: Format | Sequence[Format]) -> Sheet:
    """Return the stills to key before anything can be read: few that show most appearances.

    Args:
        watched: the video.
        forms: the declared format of each number.
    """
    sheet = Sheet()
    each = [forms] if isinstance(forms, Format) else list(forms)
    for place, (looks, form) in enumerate(zip(watched.scan.looks, each, strict=True)):
        stills = first_sheet(looks, form).stills
        for still in stills:
            still.place = place
        sheet.ask(stills)
    return sheet


def read(
    watched: Watched,
    glyphs: Glyphs,
    form: Format,
    *,
    unit: str,
    quantity: str = "dose_rate",
    name: str = "momentary",
    place: int = 0,
    keyed: Sequence[Still] = (),
    report: Report = silent,
) -> VideoReadings:
    """Read one of a display's numbers.

    Args:
        watched: the video.
        glyphs: learned from a sheet of this display, in this video or another.
        form: the declared format.
        unit: as displayed.
        quantity: ``"dose_rate"``, ``"count_rate"``, ``"dose"`` or ``"counts"``.
        name: ``"momentary"``, ``"average"`` or ``"accumulated"``.
        place: which of the numbers, from 0.
        keyed: stills that were keyed, so that none is asked twice.
        report: progress.

    Raises:
        Cancelled: if ``report`` answers ``False``.
    """
    readings = read_looks(
        watched.scan,
        watched.scan.looks[place],
        glyphs,
        form,
        unit=unit,
        quantity=quantity,
        name=name,
        keyed=keyed,
        report=report,
    )
    for still in readings.asked:
        still.place = place
    return replace(readings, warnings=(*watched.video.warnings, *readings.warnings))


def flashes_of(watched: Watched) -> PulseTrain:
    """Return the flashes of the pulse lamp that was watched, as a pulse train.

    Raises:
        ValueError: if the video was watched without a lamp.
    """
    scanned = watched.scan
    if not scanned.lamp.size:
        raise ValueError("the video was watched without a lamp")
    return find_flashes(scanned.lamp_times_s, scanned.lamp, scanned.duration_s)
