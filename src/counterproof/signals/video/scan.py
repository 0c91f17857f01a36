"""One pass over a video: what each number looked like, from when to when.

Every frame's region is cut out; a still is looked at every ``every_s``. A still that looks like the
one before only lengthens that *look* and sharpens its picture by averaging. Where a still differs,
the frames since the last one are halved down to the first that shows the new number, so that the
time of a change is known to a frame. Where the display is lost, covered, dark or not recorded,
looks end: a gap is a gap.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass, field

import numpy as np
from numpy.typing import NDArray

from counterproof.progress import Report, silent, step
from counterproof.signals.video.fields import Field
from counterproof.signals.video.follow import Follower
from counterproof.signals.video.frames import GAP_S, Box, Luma, Video
from counterproof.signals.video.ink import difference, packed, strength, unpacked
from counterproof.signals.video.layout import Layout
from counterproof.signals.video.warp import Matrix, Picture

Floats = NDArray[np.float64]

EVERY_S = 0.2
"""Time between two stills unless asked otherwise."""
_CHANGED = 0.33
"""Difference in strokes above which two pictures show different numbers."""
_FAINT = 0.3
"""Ink weaker than this share of the usual cannot be read."""
_AVERAGED = 12
"""Stills that are averaged into a look's picture."""


@dataclass(eq=False)
class Look:
    """A number as it stood for a while.

    Args:
        first_s: when it appeared, to a frame.
        last_s: when it was last seen.
        stills: how many stills showed it.
        ink: its mean ink as bytes, shape of the field's line.
    """

    first_s: float
    last_s: float
    stills: int
    ink: NDArray[np.uint8]

    @property
    def line(self) -> Picture:
        """Return the ink, 1 for a stroke."""
        return unpacked(self.ink)

    @property
    def middle_s(self) -> float:
        """Return the middle of its time."""
        return 0.5 * (self.first_s + self.last_s)


@dataclass(eq=False)
class Scan:
    """What one pass over a video gave.

    Args:
        looks: of each field of the layout, in order of time.
        gaps_s: stretches without readable picture, shape (m, 2).
        duration_s: time of the last frame.
        frame_s: usual time between frames.
        every_s: usual time between stills.
        lamp_times_s: times of the lamp's brightness, one per frame.
        lamp: its brightness over that of what is around it.
    """

    looks: tuple[list[Look], ...]
    gaps_s: Floats
    duration_s: float
    frame_s: float
    every_s: float
    lamp_times_s: Floats = field(default_factory=lambda: np.empty(0))
    lamp: Floats = field(default_factory=lambda: np.empty(0))


def scan(
    video: Video,
    layout: Layout,
    *,
    every_s: float = EVERY_S,
    lamp: Box | None = None,
    report: Report = silent,
) -> Scan:
    """Go once over a video.

    Args:
        video: the video.
        layout: where the numbers stand, from :func:`counterproof.signals.video.layout.survey`.
        every_s: time between stills; where key frames come as often, only they are decoded.
        lamp: where a pulse lamp is, in the upright picture.
        report: asked about once a second of video, in seconds.

    Raises:
        Cancelled: if ``report`` answers ``False``.
    """
    sparse = lamp is None and video.keyframe_spacing_s() <= 1.01 * every_s
    boxes = (layout.around,) if lamp is None else (layout.around, *_lamp_boxes(lamp, video))
    passing = _Pass(layout, every_s)
    lights: list[tuple[float, float]] = []
    total, told = round(video.duration_s or 0.0), -1
    for now, parts in video.frames(boxes, keyframes_only=sparse):
        if int(now) != told:
            told = int(now)
            step(report, told, max(total, told) if total else 0)
        passing.frame(now, parts[0])
        if lamp is not None:
            lights.append((now, float(parts[1].mean()) - float(np.median(parts[2]))))
    passing.end()
    lit = np.array(lights, dtype=np.float64).reshape(-1, 2)
    return Scan(
        tuple(_joined(f.looks) for f in passing.fields),
        np.array(passing.gaps, dtype=np.float64).reshape(-1, 2),
        max(passing.now, 0.0),
        passing.frame_s,
        every_s if not sparse else max(every_s, passing.frame_s),
        lit[:, 0],
        lit[:, 1],
    )


def _lamp_boxes(lamp: Box, video: Video) -> tuple[Box, Box]:
    lamp = lamp.within(video.width, video.height)
    return lamp, lamp.grown(1.0, video.width, video.height)


class _Pass:
    """The state of one pass: where the display is, and each field's look."""

    def __init__(self, layout: Layout, every_s: float) -> None:
        self.follower = Follower(layout.reference)
        self.fields = [_Watch(f) for f in layout.fields]
        self.every_s = every_s
        self.gaps: list[tuple[float, float]] = []
        self.now = -1.0
        self.frame_s = 0.0
        self._since: list[tuple[float, Luma]] = []
        self._still_at = -np.inf
        self._away_s: float | None = None

    def frame(self, now: float, part: Luma) -> None:
        """Take the next frame."""
        spacing = now - self.now
        if self.now >= 0:
            self.frame_s = (
                spacing
                if self.frame_s == 0
                else min(0.98 * self.frame_s + 0.02 * spacing, 1.5 * self.frame_s)
            )
            if spacing > max(GAP_S, 1.5 * self.every_s):
                self._leave(self.now)
                self._since.clear()
                self._still_at = -np.inf
        self.now = now
        if now < self._still_at + self.every_s * 0.999:
            self._since.append((now, part))
            return
        self._still_at = now
        self._still(now, part)
        self._since.clear()

    def end(self) -> None:
        """Close what is open."""
        for watch in self.fields:
            watch.close()
        if self._away_s is not None:
            self.gaps.append((self._away_s, self.now))

    def _still(self, now: float, part: Luma) -> None:
        held = self.follower.follow(part)
        if held.lost:
            self._leave(now)
            return
        readable = False
        for watch in self.fields:
            line = watch.line(part, held.matrix)
            if line is None:
                watch.close()
                continue
            readable = True
            if not watch.same(now, line):
                watch.begin(self._changed_at(watch, now, line, held.matrix), now, line)
        if readable:
            if self._away_s is not None:
                self.gaps.append((self._away_s, now))
                self._away_s = None
        else:
            self._leave(now)

    def _leave(self, now: float) -> None:
        for watch in self.fields:
            watch.close()
        if self._away_s is None:
            self._away_s = now

    def _changed_at(self, watch: _Watch, now: float, line: Picture, held: Matrix) -> float:
        """Return the time of the first frame since the last still that shows the new number."""
        if watch.now is None or not self._since:
            return now
        low, high = 0, len(self._since)  # high: certainly new
        while low < high:
            middle = (low + high) // 2
            seen = watch.line(self._since[middle][1], held)
            old = watch.picture
            if seen is not None and difference(seen, line) < difference(seen, old):
                high = middle
            else:
                low = middle + 1
        return now if high == len(self._since) else self._since[high][0]


class _Watch:
    """One field: its present look and those before."""

    def __init__(self, where: Field) -> None:
        self.where = where
        self.looks: list[Look] = []
        self.now: Look | None = None
        self.picture: Picture = np.zeros(where.shape, dtype=np.float32)

    def line(self, still: Luma, held: Matrix) -> Picture | None:
        """Return the line's ink, 1 for a stroke, or ``None`` where it is too faint to read."""
        ink = self.where.line(still, held)
        strong = strength(ink)
        return None if strong < _FAINT else ink / np.float32(strong)

    def same(self, now: float, line: Picture) -> bool:
        """Lengthen the present look if this still shows it."""
        look = self.now
        if look is None or difference(line, self.picture) > _CHANGED:
            return False
        look.stills += 1
        look.last_s = now
        share = np.float32(1.0 / min(look.stills, _AVERAGED))
        self.picture = self.picture + share * (line - self.picture)
        return True

    def begin(self, first_s: float, now: float, line: Picture) -> None:
        """Begin a new look."""
        self.close()
        self.picture = line
        self.now = Look(first_s, now, 1, np.empty(0, dtype=np.uint8))

    def close(self) -> None:
        """End the present look."""
        if self.now is not None:
            self.now.ink = packed(self.picture)
            self.looks.append(self.now)
        self.now = None


def _joined(looks: list[Look]) -> list[Look]:
    """Return looks without those that were one number giving way to the next.

    A slow crystal or an exposure over a change shows a mixture of before and after.
    """
    kept: list[Look] = []
    for before, look, after in _threes(looks):
        if (
            before is not None
            and after is not None
            and look.stills <= 2
            and after.first_s - look.last_s < 1.0
            and _is_mixture(look.line, before.line, after.line)
        ):
            continue
        kept.append(look)
    return kept


def _threes(looks: list[Look]) -> Iterator[tuple[Look | None, Look, Look | None]]:
    for i, look in enumerate(looks):
        before = looks[i - 1] if i and look.first_s - looks[i - 1].last_s < 1.0 else None
        yield before, look, looks[i + 1] if i + 1 < len(looks) else None


def _is_mixture(line: Picture, before: Picture, after: Picture) -> bool:
    towards = after - before
    length = float((towards * towards).sum())
    if length < 1e-6:
        return False
    share = float(((line - before) * towards).sum()) / length
    if not 0.08 < share < 0.92:
        return False
    return difference(line, before + np.float32(share) * towards) < 0.9 * _CHANGED
