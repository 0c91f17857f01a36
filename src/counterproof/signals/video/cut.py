"""Cutting a line of ink into glyphs: what hangs together, and what stands above one another."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy.ndimage import binary_closing, binary_dilation, label, uniform_filter

from counterproof.signals.runs import runs
from counterproof.signals.video.ink import DIGIT_ROWS, MARGIN_ROWS, STROKE
from counterproof.signals.video.warp import Picture

HIGH, WIDE = 48, 44
"""Shape of a glyph's picture."""


@dataclass(frozen=True)
class Cut:
    """How to cut.

    Args:
        level: ink above this belongs to a glyph.
        gap: pieces nearer than this many pixels across are one glyph.
        free: free a point that touches its neighbours, where columns have ink at the foot alone.
    """

    level: float = 0.45
    gap: float = 1.5
    free: bool = False


CUTS = (
    *(Cut(level, gap) for gap in (1.5, 0.5, 2.6) for level in (0.45, 0.35, 0.58)),
    *(Cut(level, gap, True) for gap in (1.5, 0.5) for level in (0.45, 0.58)),
)
"""Tried in this order."""


@dataclass(frozen=True, eq=False)
class Glyph:
    """One glyph as it was cut out.

    Args:
        picture: its ink, centred across, shape (HIGH, WIDE); height and size are kept.
        left: first column in the line.
        right: column after its last.
        top: first row of it.
        bottom: row after its last.
    """

    picture: Picture
    left: int
    right: int
    top: int
    bottom: int

    @property
    def is_low(self) -> bool:
        """Whether it is small and stands at the foot, as a point does."""
        return (
            self.bottom - self.top <= 0.42 * DIGIT_ROWS
            and self.right - self.left <= 0.5 * DIGIT_ROWS
            and self.top > MARGIN_ROWS + 0.5 * DIGIT_ROWS
        )


def cut_line(line: Picture, how: Cut) -> list[Glyph]:
    """Return the glyphs of a line from left to right.

    Args:
        line: ink, 1 for a stroke, shape (rows, columns) of a field's line.
        how: level and gap.
    """
    mask = np.pad(line > how.level, 4)
    mask = binary_closing(mask, np.ones((4, 2), dtype=np.bool_))[4:-4, 4:-4] | (line > how.level)
    found, count = label(mask, structure=np.ones((3, 3)))
    joined = np.asarray(found, dtype=np.int32)
    if how.free:
        count = _free_points(joined, count)
    pieces = [p for k in range(1, count + 1) if (p := _piece(joined, k)) is not None]
    pieces.sort(key=lambda p: p.left)
    groups: list[_Piece] = []
    for piece in pieces:
        host = next((g for g in groups if g.takes(piece, how.gap)), None)
        if host is None:
            groups.append(piece)
        else:
            host.merge(piece)
    merged = True
    while merged:  # a merged glyph may now reach another
        merged = False
        for i, a in enumerate(groups):
            for b in groups[i + 1 :]:
                if a.takes(b, how.gap):
                    a.merge(b)
                    groups.remove(b)
                    merged = True
                    break
            if merged:
                break
    groups = [g for g in groups if g.is_glyph()]
    groups.sort(key=lambda g: g.left + g.right)
    return [_glyph(line, joined, g) for g in groups]


def _free_points(joined: NDArray[np.int32], count: int) -> int:
    """Give points that touch a digit labels of their own; return the number of labels."""
    foot = MARGIN_ROWS + round(0.62 * DIGIT_ROWS)
    for k in range(1, count + 1):
        own = joined == k
        columns = np.flatnonzero(own.any(axis=0))
        low = ~own[:foot, columns].any(axis=0)
        if low.all() or not low.any():
            continue
        for a, b in runs(low):
            if not 2 <= b - a <= 0.34 * DIGIT_ROWS:
                continue
            first, last = int(columns[a]), int(columns[b - 1]) + 1
            after = own[:, last:]
            count += 1
            joined[:, first:last][own[:, first:last]] = count
            if after.any():
                count += 1
                joined[:, last:][after] = count
                own = joined == count
    return count


@dataclass(eq=False)
class _Piece:
    left: int
    right: int
    top: int
    bottom: int
    area: int
    labels: list[int]
    edge: bool

    def is_point(self) -> bool:
        high, wide = self.bottom - self.top, self.right - self.left
        return (
            high <= 0.34 * DIGIT_ROWS
            and wide <= 0.3 * DIGIT_ROWS
            and self.top > MARGIN_ROWS + 0.55 * DIGIT_ROWS
        )

    def takes(self, other: _Piece, gap: float) -> bool:
        apart = max(self.left, other.left) - min(self.right, other.right)
        if self.is_point() != other.is_point() and apart >= 0:
            return False
        narrow = min(self.right - self.left, other.right - other.left)
        if self.is_point() or other.is_point():
            # a point may stand under a slanted digit, but not in the middle of one
            return -apart > 0.75 * narrow
        return apart < gap or -apart > 0.3 * narrow

    def merge(self, other: _Piece) -> None:
        self.left, self.right = min(self.left, other.left), max(self.right, other.right)
        self.top, self.bottom = min(self.top, other.top), max(self.bottom, other.bottom)
        self.area += other.area
        self.labels += other.labels
        self.edge |= other.edge

    def is_glyph(self) -> bool:
        if self.edge and self.bottom - self.top > 1.25 * DIGIT_ROWS:
            return False  # the display's rim
        middle = 0.5 * (self.top + self.bottom)
        inside = MARGIN_ROWS - 2 < middle < MARGIN_ROWS + DIGIT_ROWS + 3
        return inside and self.area >= 5


def _piece(joined: NDArray[np.int32], k: int) -> _Piece | None:
    y, x = np.nonzero(joined == k)
    if y.size < 4:
        return None
    edge = x.min() == 0 or x.max() == joined.shape[1] - 1
    bounds = int(x.min()), int(x.max()) + 1, int(y.min()), int(y.max()) + 1
    if bounds[3] <= MARGIN_ROWS - 1 or bounds[2] >= MARGIN_ROWS + DIGIT_ROWS + 2:
        return None  # something above or below the line
    return _Piece(*bounds, int(y.size), [k], bool(edge))


def _glyph(line: Picture, joined: NDArray[np.int32], group: _Piece) -> Glyph:
    own = np.isin(joined, group.labels)
    near = binary_dilation(own, iterations=2) & ((joined == 0) | own)
    lo, hi = max(0, group.left - 3), min(line.shape[1], group.right + 3)
    part = np.where(near[:, lo:hi], line[:, lo:hi], 0)
    out = np.zeros((HIGH, WIDE), dtype=np.float32)
    start = round(WIDE / 2 - (0.5 * (group.left + group.right) - lo))
    a, b = max(0, start), min(WIDE, start + part.shape[1])
    out[:, a:b] = part[:HIGH, a - start : b - start]
    top = float(np.quantile(uniform_filter(out, STROKE)[near[:, lo:hi].any(axis=1)], 0.985))
    return Glyph(out / np.float32(max(top, 0.2)), group.left, group.right, group.top, group.bottom)
