"""Looks into readings: glyphs matched, held against the declared format and their neighbours.

Nothing is guessed. A look is read only if every glyph is near one known character and clearly
further from all others, if the text fits the declared format, the point seen where the format has
it, and if what stands before and after does not speak against it. Of the rest, looks of more than
one still are asked, what stood longest first.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field
from itertools import pairwise

import numpy as np
from numpy.typing import NDArray

from counterproof.progress import Report, silent, step
from counterproof.signals.trains import ReadingLog
from counterproof.signals.video.cut import CUTS, cut_line
from counterproof.signals.video.formats import Format
from counterproof.signals.video.glyphs import Glyphs, Match
from counterproof.signals.video.ink import difference
from counterproof.signals.video.refresh import Refresh, find_refresh
from counterproof.signals.video.scan import Look, Scan
from counterproof.signals.video.sheet import Still
from counterproof.texts import text

Floats = NDArray[np.float64]

_PLAIN_S = 1.0
"""Time between two readings where no refresh was found."""
_ALIKE = 0.35
_ASKED = 40


@dataclass(frozen=True, eq=False)
class VideoReadings:
    """What a display showed.

    Args:
        times_s: when each number was taken, from the first sample of the sound, shape (n,).
        values: the numbers, shape (n,), in ``unit``.
        confidence: of each, 0…1.
        unit: as displayed.
        quantity: ``"dose_rate"``, ``"count_rate"``, ``"dose"`` or ``"counts"``.
        field: ``"momentary"``, ``"average"`` or ``"accumulated"``.
        quantum: the display's step; ``None`` where its ranges differ.
        asked: stills to be keyed before what they show can be given, most seconds first.
        gaps_s: stretches in which nothing could be read, shape (m, 2).
        refresh: when new numbers come; ``None`` if that was not found.
        duration_s: length of the video.
        given_share: time read over time in which the display could be seen.
        warnings: sentences that the reader of a result must see.
    """

    times_s: Floats
    values: Floats
    confidence: Floats
    unit: str
    quantity: str
    field: str
    quantum: float | None
    asked: tuple[Still, ...]
    gaps_s: Floats
    refresh: Refresh | None
    duration_s: float
    given_share: float
    warnings: tuple[str, ...] = ()

    def log(self) -> ReadingLog:
        """Return the readings as a log, for the bench and the trials."""
        return ReadingLog(
            self.times_s,
            self.values,
            self.quantity,
            self.unit,
            self.field,
            self.quantum,
            self.warnings,
        )


@dataclass(eq=False)
class _Read:
    """A look and what it was read as."""

    look: Look
    shown: str = ""
    confidence: float = 0.0
    guess: str = ""
    why: str = ""
    matches: list[tuple[Match, NDArray[np.float32]]] = field(default_factory=list)


def read_looks(
    scan: Scan,
    looks: Sequence[Look],
    glyphs: Glyphs,
    form: Format,
    *,
    unit: str,
    quantity: str = "dose_rate",
    name: str = "momentary",
    keyed: Sequence[Still] = (),
    report: Report = silent,
) -> VideoReadings:
    """Read one field's looks.

    Args:
        scan: of the video.
        looks: of the field.
        glyphs: learned for it.
        form: the declared format.
        unit: as displayed.
        quantity: what kind of number it is.
        name: ``"momentary"``, ``"average"`` or ``"accumulated"``.
        keyed: stills a person keyed: what looks like one of them is never asked again.
        report: asked between looks.

    Raises:
        Cancelled: if ``report`` answers ``False``.
    """
    found = _pass(looks, glyphs, form, report)
    better = _sharpened(glyphs, found)
    if better is not None:
        found = _pass(looks, better, form, report)
    _as_keyed(found, keyed, form)
    _beside_neighbours(found, form)
    read = [r for r in found if r.shown]
    changes = np.array(
        [
            b.look.first_s
            for a, b in pairwise(read)
            if a.shown != b.shown and b.look.first_s - a.look.last_s < 1.5 * scan.every_s
        ]
    )
    refresh = find_refresh(changes, scan.frame_s)
    times, values, confidence = _timed(read, refresh)
    asked = _asked(found, scan)
    seen_s = sum(r.look.last_s - r.look.first_s + scan.every_s for r in found if not _passing(r))
    read_s = sum(r.look.last_s - r.look.first_s + scan.every_s for r in read)
    warnings = _warnings(scan, glyphs, form, asked)
    return VideoReadings(
        times,
        values,
        confidence,
        unit,
        quantity,
        name,
        form.quantum,
        tuple(asked),
        scan.gaps_s,
        refresh,
        scan.duration_s,
        min(1.0, read_s / seen_s) if seen_s > 0 else 0.0,
        warnings,
    )


def _pass(looks: Sequence[Look], glyphs: Glyphs, form: Format, report: Report) -> list[_Read]:
    found = []
    for i, look in enumerate(looks):
        if i % 200 == 0:
            step(report, i, len(looks))
        found.append(_read(look, glyphs, form))
    return found


def _read(look: Look, glyphs: Glyphs, form: Format) -> _Read:
    line, first = look.line, None
    for how in dict.fromkeys((glyphs.cut, *CUTS[:3], *CUTS[-2:])):
        cut = cut_line(line, how)
        matches = [(glyphs.match(g.picture), g.picture) for g in cut]
        shown = "".join(m.char for m, _ in matches)
        # what stands low and small is a point and nothing else is, whatever it resembles
        low = all(g.is_low == (m.char == ".") for g, (m, _) in zip(cut, matches, strict=True))
        sure = bool(matches) and all(m.sure for m, _ in matches) and low
        confidence = float(np.prod([m.confidence for m, _ in matches])) if matches else 0.0
        if sure and form.fits(shown):
            return _Read(look, shown, confidence, shown, "", matches)
        if sure and "-" in shown:
            return _Read(look, "", confidence, shown, "none", matches)
        if first is None:
            why = "video.why_glyph" if not sure else "video.why_format"
            first = _Read(look, "", 0.0, shown, text(why), matches)
    assert first is not None
    return first


def _sharpened(glyphs: Glyphs, found: Sequence[_Read]) -> Glyphs | None:
    """Return the glyphs with the clearest of this video's own averaged in, or ``None``."""
    better = Glyphs(
        list(glyphs.chars), glyphs.pictures.copy(), list(glyphs.weights), glyphs.cut, glyphs.refused
    )
    taken: dict[str, int] = {}
    for each in found:
        if not each.shown or each.look.stills < 2:
            continue
        for match, picture in each.matches:
            if (
                match.off < 0.22
                and match.off < 0.4 * match.next_off
                and taken.get(match.char, 0) < 40
            ):
                better.add(match.char, picture)
                taken[match.char] = taken.get(match.char, 0) + 1
    return better if taken else None


def _as_keyed(found: Sequence[_Read], keyed: Sequence[Still], form: Format) -> None:
    """Take a doubtful look that is the very picture of a keyed still for what was keyed."""
    for each in found:
        if each.shown:
            continue
        for still in keyed:
            if still.ink.shape == each.look.ink.shape and (
                difference(each.look.line, still.line) < 0.6 * _ALIKE
            ):
                fits = form.fits(still.typed)
                each.shown = still.typed if fits else ""
                each.confidence = 0.9 if fits else 0.0
                each.why = "" if fits else "none"
                break


def _beside_neighbours(found: Sequence[_Read], form: Format) -> None:
    """Doubt a short look that leaps by ten, or loses a digit, between two that agree."""
    read = [r for r in found if r.shown]
    for before, now, after in zip(read, read[1:], read[2:], strict=False):
        near = (
            now.look.first_s - before.look.last_s < 3 and after.look.first_s - now.look.last_s < 3
        )
        if not near or now.look.stills > 2:
            continue
        a, v, b = float(before.shown), float(now.shown), float(after.shown)
        alike = 0.4 * max(a, b) <= min(a, b)
        other_point = (
            form.shifts
            and _decimals(now.shown) != _decimals(before.shown)
            and (_decimals(before.shown) == _decimals(after.shown))
        )
        shorter = len(now.shown) != len(before.shown) == len(after.shown)
        leap = alike and (v > 5 * max(a, b) or v < 0.2 * min(a, b))
        if leap and (other_point or shorter):
            now.guess, now.shown = now.shown, ""
            now.why = text("video.why_leap")


def _decimals(shown: str) -> int:
    return len(shown.partition(".")[2])


def _timed(read: Sequence[_Read], refresh: Refresh | None) -> tuple[Floats, Floats, Floats]:
    """Return one reading per new number of the display, or per second where that is unknown."""
    times: list[float] = []
    values: list[float] = []
    sure: list[float] = []
    for each in read:
        look = each.look
        if refresh is None:
            at = np.arange(look.first_s, max(look.last_s, look.first_s + 1e-9), _PLAIN_S)
        else:
            reach = 0.35 * refresh.period.value
            at = refresh.times(look.first_s - reach, look.last_s)
            if not at.size:
                value = float(each.shown)
                if values and values[-1] == value and look.first_s - times[-1] < 3 * reach:
                    continue  # still the number that was given
                at = np.array([look.first_s])
        for t in at:
            t = float(max(t, 0.0))
            if times and t <= times[-1] + 1e-9:
                if values[-1] != float(each.shown) and sure[-1] < each.confidence:
                    values[-1], sure[-1] = float(each.shown), each.confidence
                continue
            times.append(t)
            values.append(float(each.shown))
            sure.append(each.confidence)
    return np.array(times), np.array(values), np.array(sure)


def _passing(each: _Read) -> bool:
    """Say whether an unread look is a moment's disturbance rather than a reading."""
    return not each.shown and each.look.stills < 2


def _asked(found: Sequence[_Read], scan: Scan) -> list[Still]:
    """Return the doubtful stills, each standing for all that look like it."""
    groups: list[tuple[_Read, float]] = []
    doubtful = [r for r in found if not r.shown and r.why != "none" and not _passing(r)]
    doubtful.sort(key=lambda r: -r.look.stills)
    for each in doubtful[:1500]:
        lasted = each.look.last_s - each.look.first_s + scan.every_s
        for i, (head, seconds) in enumerate(groups):
            if difference(head.look.line, each.look.line) < _ALIKE:
                groups[i] = (head, seconds + lasted)
                break
        else:
            groups.append((each, lasted))
    groups.sort(key=lambda g: -g[1])
    return [
        Still(i + 1, r.look.middle_s, r.look.ink, guess=r.guess, why=r.why, seconds=seconds)
        for i, (r, seconds) in enumerate(groups[:_ASKED])
    ]


def _warnings(scan: Scan, glyphs: Glyphs, form: Format, asked: Sequence[Still]) -> tuple[str, ...]:
    out = []
    if glyphs.refused:
        first = glyphs.refused[0]
        out.append(text("video.key_unfit", count=len(glyphs.refused), typed=first))
    dark = float((scan.gaps_s[:, 1] - scan.gaps_s[:, 0]).sum())
    if scan.gaps_s.size:
        out.append(text("video.gaps", count=len(scan.gaps_s), seconds=dark))
    unknown = [d for d in "0123456789" if d not in glyphs.digits]
    if unknown and asked:
        out.append(text("video.digits_unknown", digits=", ".join(unknown)))
    if form.has_point and not glyphs.knows_point:
        out.append(text("video.no_point_taught"))
    return tuple(out)
