"""Where the numbers stand in a display, found from stills that lie on one another.

Digits change and labels do not: rows and columns that change mark a field. Lines through the tops
and the feet of its digits undo turning and perspective (two lines that meet give the keystone, and
with it the foreshortening along the line), and the slant is the shear that makes the columns'
profile sharpest.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray
from scipy.ndimage import label, uniform_filter

from counterproof.signals.runs import runs
from counterproof.signals.video.frames import Box, Luma
from counterproof.signals.video.ink import DIGIT_ROWS, MARGIN_ROWS, ink_of, strength
from counterproof.signals.video.warp import Matrix, Picture, grown, projection, shrunk, warp

_LEAST_CONTRAST = 8.0
"""Ink weaker than this, of 255 steps of luminance, is not told from noise."""


@dataclass(frozen=True, eq=False)
class Field:
    """One number of the display.

    Args:
        matrix: 3×3, from pixels of the line's picture to pixels of the reference still.
        columns: width of the line's picture; its height is that of all lines.
        dark: dark ink on light paper.
        contrast: strength of the ink in luminance, as usual in this video.
        digit_px: height of the digits in the video.
        box: where the number stands in the reference still, for people.
    """

    matrix: Matrix
    columns: int
    dark: bool
    contrast: float
    digit_px: float
    box: Box

    @property
    def shape(self) -> tuple[int, int]:
        """Rows and columns of the line's picture."""
        return DIGIT_ROWS + 2 * MARGIN_ROWS, self.columns

    def enlarged(self, factor: int) -> Field:
        """Return the field as it is in stills ``factor`` times as large."""
        box = Box(*(n * factor for n in (self.box.x, self.box.y, self.box.width, self.box.height)))
        matrix = grown(factor) @ self.matrix
        return replace(self, matrix=matrix, digit_px=self.digit_px * factor, box=box)

    def line(self, still: Luma | Picture, held: Matrix) -> Picture:
        """Return the ink of the line in one still, 1 for a usual stroke.

        Args:
            still: luminance of the region with its margin.
            held: from the reference still to this one.
        """
        shrink = max(1, int(self.digit_px / DIGIT_ROWS))
        matrix = np.linalg.inv(grown(shrink)) @ held @ self.matrix
        if shrink > 1 or still.dtype != np.float32:
            still = shrunk(still, shrink)
        seen = warp(still, matrix, self.shape, np.nan)
        off = np.isnan(seen)
        if off.any():
            seen = np.where(off, np.float32(np.nanmedian(seen) if not off.all() else 0), seen)
        return ink_of(seen, self.dark, round(0.65 * DIGIT_ROWS)) / np.float32(self.contrast)


def find_fields(stills: Sequence[Picture], inner: Box, wanted: int) -> list[Field]:
    """Return the numbers inside a box of stills that lie on one another."""
    part = (slice(inner.y, inner.y + inner.height), slice(inner.x, inner.x + inner.width))
    levels = [max(float(np.median(s[part])), 1.0) for s in stills]
    usual = float(np.median(levels))
    stack = np.stack([s[part] * (usual / v) for s, v in zip(stills, levels, strict=True)])
    # light that wanders over the display is wider than a digit
    near = (0, inner.height // 2 | 1, inner.height // 2 | 1)
    shade = uniform_filter(stack, near)
    middle = np.median(stack, axis=0)
    low, high, least, most = np.quantile(stack - shade, [0.04, 0.96, 0.0, 1.0], axis=0) + np.median(
        shade, axis=0
    )
    # an edge that trembles by a fraction of a pixel is no change
    edges = 0.8 * np.hypot(*np.gradient(middle))
    active = uniform_filter(np.clip(high - low - edges, 0, None).astype(np.float32), 3)
    spread = float(np.quantile(middle, 0.98) - np.quantile(middle, 0.02))
    changes = float(active.max()) > 0.25 * spread and len(stills) > 2
    dark = _is_dark(middle, low, high, active, changes)
    ink = ink_of(middle.astype(np.float32), dark, inner.height // 2 | 1)
    found: list[Field] = []
    # numbers that change often, then such as change seldom, then such as never did
    seldom = uniform_filter(np.clip(most - least - 2 * edges, 0, None).astype(np.float32), 3)
    for source, moves in ((active, True), (seldom, True), (ink, False)):
        if len(found) >= wanted or (moves and not changes):
            continue
        for band in _bands(source):
            field = _field(stack, part, source, band, dark, moves)
            if field is not None and not any(_overlap(field.box, f.box) for f in found):
                found.append(field)
    # the largest number first, then as one reads
    found.sort(key=lambda f: -f.digit_px)
    main, rest = found[:1], sorted(found[1:wanted], key=lambda f: (f.box.y, f.box.x))
    return main + rest


def _overlap(a: Box, b: Box) -> bool:
    across = min(a.x + a.width, b.x + b.width) - max(a.x, b.x)
    down = min(a.y + a.height, b.y + b.height) - max(a.y, b.y)
    return across > 0 and down > 0.3 * min(a.height, b.height)


def _is_dark(
    middle: NDArray[np.float64],
    low: NDArray[np.float64],
    high: NDArray[np.float64],
    active: Picture,
    changes: bool,
) -> bool:
    """Say whether ink is darker than the paper around it."""
    if changes:
        on = active > 0.5 * active.max()
        near = uniform_filter(on.astype(np.float32), max(9, middle.shape[0] // 6)) > 0.02
        paper = float(np.median(middle[near & (active < 0.2 * active.max())]))
        return paper > float(np.median(0.5 * (low[on] + high[on])))
    centre = float(np.median(middle))
    return centre - float(np.quantile(middle, 0.02)) > float(np.quantile(middle, 0.98)) - centre


def _bands(source: Picture) -> list[tuple[int, int]]:
    """Return the rows of each line of numbers, the most active line first."""
    rows = np.sort(source, axis=1)[:, -max(3, source.shape[1] // 25) :].mean(axis=1)
    on = rows > 0.35 * rows.max()
    found: list[tuple[int, int]] = []
    for top, bottom in runs(on):
        if found and top - found[-1][1] <= max(1, 0.12 * (bottom - found[-1][0])):
            found[-1] = (found[-1][0], int(bottom))  # two halves of one line
        else:
            found.append((int(top), int(bottom)))
    return [(a, b) for a, b in found if b - a >= 7]


def _field(
    stack: NDArray[np.float64],
    part: tuple[slice, slice],
    source: Picture,
    band: tuple[int, int],
    dark: bool,
    changes: bool,
) -> Field | None:
    top, bottom = band
    high = bottom - top
    picked = stack[:: max(1, len(stack) // 25)].astype(np.float32)
    inks = np.stack([ink_of(p, dark, max(5, round(0.65 * high))) for p in picked])
    union = np.quantile(inks, 0.9, axis=0)
    if changes:
        on = source > 0.35 * source[top:bottom].max()
        level = 0.4 * float(np.quantile(union[top:bottom][on[top:bottom]], 0.8))
    else:
        on = union > 0.5 * float(np.quantile(union[top:bottom], 0.98))
        level = 0.5 * float(np.quantile(union[top:bottom], 0.98))
    mask = union > level
    columns = np.flatnonzero(on[top:bottom].mean(axis=0) > 0.1)
    if not columns.size:
        return None
    left, right = _extent(mask, (top, bottom), (int(columns[0]), int(columns[-1]) + 1))
    lines = _head_and_foot(mask, (top, bottom), (left, right))
    if lines is None:
        return None
    (head0, head1), (foot0, foot1) = lines
    digit = max(1.0, 0.5 * (foot0 - head0 + foot1 - head1))
    off = np.array([part[1].start, part[0].start], dtype=np.float64)
    corners = np.array([[left, head0], [right, head1], [right, foot1], [left, foot0]]) + off
    scale = DIGIT_ROWS / digit
    wide = (right - left) * scale
    extra_left, extra_right = _room(mask, (top, bottom), (left, right), digit)
    x0, x1 = extra_left * scale, extra_left * scale + wide
    upper, lower = MARGIN_ROWS, MARGIN_ROWS + DIGIT_ROWS
    straight = np.array([[x0, upper], [x1, upper], [x1, lower], [x0, lower]])
    columns_n = int(np.ceil(x1 + extra_right * scale))
    matrix = projection(straight, corners)
    rough = Field(matrix, columns_n, dark, 1.0, digit, Box(0, 0, 1, 1))
    wholes = [_placed(p, part) for p in picked]
    here = np.eye(3)
    matrix = matrix @ _lean(_slant([rough.line(w, here) for w in wholes]))
    upright = replace(rough, matrix=matrix)
    contrast = float(np.median([strength(upright.line(w, here)) for w in wholes]))
    if contrast < _LEAST_CONTRAST:
        return None
    box = Box(
        round(off[0] + left),
        round(off[1] + min(head0, head1)),
        right - left,
        round(max(foot0, foot1) - min(head0, head1)),
    )
    return replace(upright, contrast=contrast, box=box)


def _placed(picture: Picture, part: tuple[slice, slice]) -> Picture:
    out = np.full((part[0].stop + 8, part[1].stop + 8), np.median(picture), dtype=np.float32)
    out[part] = picture
    return out


def _extent(
    mask: NDArray[np.bool_], band: tuple[int, int], active: tuple[int, int]
) -> tuple[int, int]:
    """Return first and last column of the number of which some digits are active.

    Ink beside them belongs to it while it is near and as tall as a digit, or a point at the foot.
    """
    top, bottom = band
    high = bottom - top
    around = mask[max(0, top - high // 2) : bottom + high // 2]
    base = top - max(0, top - high // 2)
    found, count = label(around, structure=np.ones((3, 3)))
    joined = np.asarray(found)
    spans = []
    for k in range(1, count + 1):
        y, x = np.nonzero(joined == k)
        if y.size < 4:
            continue
        spans.append((int(x.min()), int(x.max()) + 1, int(y.min()) - base, int(y.max()) + 1 - base))
    left, right = active
    grown = True
    while grown:
        grown = False
        for x0, x1, y0, y1 in spans:
            inside = y0 > -0.25 * high and y1 < 1.25 * high
            foot = y1 > 0.75 * high and y1 - y0 < 0.35 * high and x1 - x0 < 0.4 * high
            # segments of a digit come in pieces: tall enough together is tall enough
            near = [s for s in spans if s[0] < x1 + 0.1 * high and s[1] > x0 - 0.1 * high]
            tall = max(s[3] for s in near) - min(s[2] for s in near) > 0.75 * high
            if not inside or not (foot or tall):
                continue
            if x0 < left and left - x1 < 0.8 * high:
                left, grown = x0, True
            if x1 > right and x0 - right < 0.8 * high:
                right, grown = x1, True
    return left, right


def _head_and_foot(
    mask: NDArray[np.bool_], band: tuple[int, int], span: tuple[int, int]
) -> tuple[tuple[float, float], tuple[float, float]] | None:
    """Return the lines through tops and feet of the digits as their heights at both ends."""
    top, bottom = band
    high = bottom - top
    lo, hi = max(0, top - high // 3), min(mask.shape[0], bottom + high // 3)
    x = np.arange(span[0], span[1])
    part = mask[lo:hi, span[0] : span[1]]
    # what runs out of the window is the case, not a digit
    pieces, _ = label(part, structure=np.ones((3, 3)))
    joined = np.asarray(pieces, dtype=np.int32)
    outside = np.unique(np.concatenate((joined[0], joined[-1])))
    part = np.asarray(part & ~np.isin(joined, outside[outside > 0]))
    inked = np.asarray(part.any(axis=0))
    if inked.sum() < 3:
        return None
    first = lo + np.argmax(part, axis=0)
    last = hi - np.argmax(part[::-1], axis=0)
    tall = np.asarray(inked & (last - first > 0.5 * high))
    if tall.sum() < 3:
        tall = inked
    ends = np.array([span[0], span[1]], dtype=np.float64)
    a, b = _edge_line(x[tall], first[tall], 1.0), _edge_line(x[tall], last[tall], -1.0)
    head, foot = a[0] + a[1] * ends, b[0] + b[1] * ends
    if (foot - head).min() < 0.5 * high or (foot - head).max() > 1.7 * high:
        mean = 0.5 * (a[1] + b[1])
        middle = ends.mean()
        head = a[0] + a[1] * middle + mean * (ends - middle)
        foot = b[0] + b[1] * middle + mean * (ends - middle)
    return (float(head[0]), float(head[1])), (float(foot[0]), float(foot[1]))


def _edge_line(x: NDArray[np.int64], y: NDArray[np.int64], sign: float) -> tuple[float, float]:
    """Return intercept and slope of the line on which most extremes lie (``sign`` 1: smallest)."""
    best = (np.inf, 0.0, 0.0)
    for slope in np.tan(np.radians(np.arange(-12, 12.01, 0.25))):
        rest = np.sort(sign * (y - slope * x))
        kept = rest[: max(3, int(0.6 * rest.size))]
        line = float(np.median(kept))
        cost = float(np.abs(kept - line).mean()) + 0.02 * abs(slope) * (x[-1] - x[0]) / 10
        if cost < best[0] - 1e-9:
            best = (cost, sign * line, float(slope))
    return best[1], best[2]


def _room(
    mask: NDArray[np.bool_], band: tuple[int, int], span: tuple[int, int], high: float
) -> tuple[float, float]:
    """Return how far the line's picture may reach beyond the number, for digits yet to come."""
    inked = np.asarray(mask[band[0] : band[1]].any(axis=0))
    before = np.flatnonzero(inked[: max(0, span[0] - 1)])
    after = np.flatnonzero(inked[span[1] + 1 :])
    left = span[0] - (before[-1] + 1) if before.size else span[0]
    right = after[0] + 1 if after.size else mask.shape[1] - span[1]
    least = 0.15 * high
    return (
        float(np.clip(0.6 * left if before.size else left, least, 1.1 * high)),
        float(np.clip(0.4 * right if after.size else right, least, 0.6 * high)),
    )


def _lean(slant: float) -> Matrix:
    middle = MARGIN_ROWS + 0.5 * DIGIT_ROWS
    return np.array([[1.0, -slant, slant * middle], [0.0, 1.0, 0.0], [0.0, 0.0, 1.0]])


def _slant(lines: Sequence[Picture]) -> float:
    """Return the shear (columns per row, to the right upwards) that sharpens the columns most."""
    best, kept = 0.0, 0.0
    for slant in np.arange(-0.2, 0.351, 0.025):
        lean, energy = _lean(float(slant)), 0.0
        for line in lines:
            profile = warp(line, lean, line.shape).sum(axis=0)
            energy += float((np.diff(profile) ** 2).sum())
        if abs(slant) < 1e-9:
            energy *= 1.03  # upright unless there is reason
        if energy > best:
            best, kept = energy, float(slant)
    return kept
