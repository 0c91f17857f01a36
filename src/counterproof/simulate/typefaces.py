"""Typefaces of invented displays: segments, dots and strokes, drawn here.

A face turns a text into a picture of ink, 0…1 at each pixel, as tall as asked. Its height is that
of a digit; what hangs below (the tail of µ) is left out. Every face knows the digits, the point and
the dash; the dot faces know the letters of the units too.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

Picture = NDArray[np.float32]

_SEGMENTS = {
    "0": "abcdef",
    "1": "bc",
    "2": "abdeg",
    "3": "abcdg",
    "4": "bcfg",
    "5": "acdfg",
    "6": "acdefg",
    "7": "abc",
    "8": "abcdefg",
    "9": "abcdfg",
    "-": "g",
}

_DOTS_5X7 = {
    "0": "01110 10001 10001 10001 10001 10001 01110",
    "1": "00100 01100 00100 00100 00100 00100 01110",
    "2": "01110 10001 00001 00010 00100 01000 11111",
    "3": "11111 00010 00100 00010 00001 10001 01110",
    "4": "00010 00110 01010 10010 11111 00010 00010",
    "5": "11111 10000 11110 00001 00001 10001 01110",
    "6": "00110 01000 10000 11110 10001 10001 01110",
    "7": "11111 00001 00010 00100 01000 01000 01000",
    "8": "01110 10001 10001 01110 10001 10001 01110",
    "9": "01110 10001 10001 01111 00001 00010 01100",
    "-": "00000 00000 00000 01110 00000 00000 00000",
    ".": "0 0 0 0 0 0 1",
    "µ": "00000 00000 10001 10001 10011 11101 10000",
    "S": "01111 10000 10000 01110 00001 00001 11110",
    "v": "00000 00000 10001 10001 10001 01010 00100",
    "h": "10000 10000 10110 11001 10001 10001 10001",
    "/": "00001 00001 00010 00100 01000 10000 10000",
}

_DOTS_SQUARE = {
    "0": "11111 10001 10001 10001 10001 10001 11111",
    "1": "00110 00010 00010 00010 00010 00010 00010",
    "2": "11111 00001 00001 11111 10000 10000 11111",
    "3": "11111 00001 00001 01111 00001 00001 11111",
    "4": "10001 10001 10001 11111 00001 00001 00001",
    "5": "11111 10000 10000 11111 00001 00001 11111",
    "6": "11111 10000 10000 11111 10001 10001 11111",
    "7": "11111 00001 00001 00010 00100 00100 00100",
    "8": "11111 10001 10001 11111 10001 10001 11111",
    "9": "11111 10001 10001 11111 00001 00001 11111",
    "-": "00000 00000 00000 11111 00000 00000 00000",
    ".": "0 0 0 0 0 0 1",
}

_DOTS_BOLD = {
    "0": "0111110 1111111 1100011 1100011 1100011 1100011 1100011 1111111 0111110",
    "1": "0001100 0011100 0111100 0001100 0001100 0001100 0001100 0111111 0111111",
    "2": "0111110 1111111 1100011 0000011 0001110 0111000 1100000 1111111 1111111",
    "3": "0111110 1111111 1100011 0000011 0011110 0000011 1100011 1111111 0111110",
    "4": "0000110 0001110 0011110 0110110 1100110 1111111 1111111 0000110 0000110",
    "5": "1111111 1111111 1100000 1111110 1111111 0000011 1100011 1111111 0111110",
    "6": "0011110 0111110 1100000 1111110 1111111 1100011 1100011 1111111 0111110",
    "7": "1111111 1111111 0000011 0000110 0001100 0001100 0011000 0011000 0011000",
    "8": "0111110 1111111 1100011 1100011 0111110 1100011 1100011 1111111 0111110",
    "9": "0111110 1111111 1100011 1100011 1111111 0111111 0000011 0111110 0111100",
    "-": "0000000 0000000 0000000 0000000 0111110 0111110 0000000 0000000 0000000",
    ".": "00 00 00 00 00 00 00 11 11",
}

_DOTS_NARROW = {
    "0": "0110 1001 1001 1011 1101 1001 1001 0110",
    "1": "010 110 010 010 010 010 010 111",
    "2": "0110 1001 0001 0001 0010 0100 1000 1111",
    "3": "0110 1001 0001 0110 0001 0001 1001 0110",
    "4": "0001 0011 0101 1001 1001 1111 0001 0001",
    "5": "1111 1000 1000 1110 0001 0001 1001 0110",
    "6": "0110 1001 1000 1110 1001 1001 1001 0110",
    "7": "1111 0001 0001 0010 0010 0100 0100 0100",
    "8": "0110 1001 1001 0110 1001 1001 1001 0110",
    "9": "0110 1001 1001 1001 0111 0001 1001 0110",
    "-": "0000 0000 0000 0000 1110 0000 0000 0000",
    ".": "0 0 0 0 0 0 0 1",
}

_DOTS_TALL = {
    "0": "01110 10001 10001 10001 10001 10001 10001 10001 01110",
    "1": "00110 01010 00010 00010 00010 00010 00010 00010 00111",
    "2": "01110 10001 00001 00001 00110 01000 10000 10000 11111",
    "3": "01110 10001 00001 00001 00110 00001 00001 10001 01110",
    "4": "10010 10010 10010 10010 10010 11111 00010 00010 00010",
    "5": "11111 10000 10000 10000 11110 00001 00001 00001 11110",
    "6": "01110 10001 10000 10000 11110 10001 10001 10001 01110",
    "7": "11111 10001 00001 00001 00010 00010 00100 00100 00100",
    "8": "01110 10001 10001 10001 01110 10001 10001 10001 01110",
    "9": "01110 10001 10001 10001 01111 00001 00001 10001 01110",
    "-": "00000 00000 00000 00000 11111 00000 00000 00000 00000",
    ".": "0 0 0 0 0 0 0 0 1",
}

_DOTS_HEAVY = {
    "0": (
        "00111100 01111110 11100111 11000011 11000011 11000011 11000011 11100111 01111110 00111100"
    ),
    "1": (
        "00011000 00111000 01111000 01011000 00011000 00011000 00011000 00011000 00011000 00011000"
    ),
    "2": (
        "00111100 01111110 11000011 00000011 00000110 00001100 00110000 01100000 11111111 11111111"
    ),
    "3": (
        "11111111 11111111 00000110 00001100 00011100 00000110 00000011 11000011 01111110 00111100"
    ),
    "4": (
        "00000110 00001110 00011110 00110110 01100110 11000110 11111111 11111111 00000110 00000110"
    ),
    "5": (
        "11111110 11111110 11000000 11000000 11111100 00000110 00000011 11000011 01111110 00111100"
    ),
    "6": (
        "00111110 01111110 11100000 11000000 11111100 11111110 11000011 11000011 01111110 00111100"
    ),
    "7": (
        "11111111 11111111 11000011 00000110 00000110 00001100 00001100 00011000 00011000 00011000"
    ),
    "8": (
        "00111100 01111110 11000011 11000011 01111110 01111110 11000011 11000011 01111110 00111100"
    ),
    "9": (
        "00111100 01111110 11000011 11000011 01111111 00111111 00000011 00000111 01111110 01111100"
    ),
    "-": (
        "00000000 00000000 00000000 00000000 01111110 01111110 00000000 00000000 00000000 00000000"
    ),
    ".": "00 00 00 00 00 00 00 00 11 11",
}

DOTS = {
    "round": _DOTS_5X7,
    "square": _DOTS_SQUARE,
    "bold": _DOTS_BOLD,
    "narrow": _DOTS_NARROW,
    "tall": _DOTS_TALL,
    "heavy": _DOTS_HEAVY,
}

# strokes as chains of points, x to the right and y downwards, digit height 1, and (cx, cy, rx, ry,
# from, to) arcs in degrees, clockwise from the right
_STROKES: dict[str, list[tuple[float, ...]]] = {
    "0": [(0.27, 0.5, 0.27, 0.5, 0, 360)],
    "1": [(0.05, 0.2, 0.25, 0.0), (0.25, 0.0, 0.25, 1.0)],
    "2": [(0.27, 0.27, 0.27, 0.27, 185, 395), (0.49, 0.43, 0.0, 1.0), (0.0, 1.0, 0.54, 1.0)],
    "3": [(0.25, 0.25, 0.25, 0.25, 190, 450), (0.25, 0.74, 0.28, 0.26, -90, 170)],
    "4": [(0.4, 0.0, 0.0, 0.68), (0.0, 0.68, 0.55, 0.68), (0.4, 0.0, 0.4, 1.0)],
    "5": [
        (0.5, 0.0, 0.08, 0.0),
        (0.08, 0.0, 0.05, 0.45),
        (0.25, 0.68, 0.29, 0.32, -140, 150),
    ],
    "6": [(0.27, 0.69, 0.27, 0.31, 0, 360), (0.02, 0.62, 0.38, 0.0)],
    "7": [(0.0, 0.0, 0.54, 0.0), (0.54, 0.0, 0.18, 1.0)],
    "8": [(0.27, 0.24, 0.23, 0.24, 0, 360), (0.27, 0.74, 0.27, 0.26, 0, 360)],
    "9": [(0.27, 0.31, 0.27, 0.31, 0, 360), (0.52, 0.38, 0.16, 1.0)],
    "-": [(0.08, 0.55, 0.46, 0.55)],
    ".": [(0.05, 0.97, 0.05, 0.97)],
}


@dataclass(frozen=True)
class Face:
    """One typeface.

    Args:
        kind: ``"segments"``, ``"strokes"`` or a name in :data:`DOTS`.
        thickness: of a segment or stroke over the digit's height; side of a dot over its pitch.
        gap: between segments over the height, or of corners cut (segments only).
        aspect: a segment digit's width over its height; a dot's width over its pitch.
        slant: shear to the right, x per height.
        spacing: between digits over the height.
        tails: segment 6 and 9 with their bars, 7 with its hook.
        point_beside: the segment display's point has no cell of its own.
        round_dots: dots are discs.
    """

    kind: str = "segments"
    thickness: float = 0.13
    gap: float = 0.02
    aspect: float = 0.55
    slant: float = 0.0
    spacing: float = 0.2
    tails: bool = True
    point_beside: bool = True
    round_dots: bool = False

    def draw(self, text: str, height: int, over: int = 4) -> Picture:
        """Return the text's ink, shape (height, width), 0…1.

        Args:
            text: digits, point, dash; for dot faces also µ, S, v, h, / and blanks.
            height: of a digit in pixels.
            over: supersampling in each direction.
        """
        high = height * over
        at, places = 0.0, []
        for char in text:
            places.append((char, at))
            at += self._advance(char)
        lean = abs(self.slant)
        width = int(np.ceil((at + lean + 0.1) * high / over) * over)
        y, x = np.mgrid[0:high, 0:width].astype(np.float32) + 0.5
        y, x = y / high, x / high - lean * (self.slant < 0)
        ink = np.zeros((high, width), dtype=bool)
        for char, start in places:
            if char == " ":
                continue
            lo = max(0, int((start - lean - 0.3) * high))
            hi = int((start + lean + self._advance(char) + 0.3) * high)
            part = (slice(None), slice(lo, hi))
            ink[part] |= self._inside(char, x[part] - start - self.slant * (1 - y[part]), y[part])
        shape = (height, over, width // over, over)
        return np.asarray(ink.reshape(shape).mean(axis=(1, 3)), dtype=np.float32)

    def _advance(self, char: str) -> float:
        if self.kind == "segments":
            if char == ".":
                return 0.0 if self.point_beside else self.thickness + self.spacing
            return self.aspect + self.spacing
        if self.kind == "strokes":
            return (0.12 if char == "." else 0.54) + self.thickness + self.spacing
        rows = DOTS[self.kind].get(char, _DOTS_5X7.get(char, "00000")).split()
        across = len(rows[0]) + (2 if self.kind in ("bold", "heavy") else 1)
        return across * self.aspect / len(DOTS[self.kind]["0"].split())

    def _inside(self, char: str, x: Picture, y: Picture) -> NDArray[np.bool_]:
        if self.kind == "segments":
            return self._segments(char, x, y)
        if self.kind == "strokes":
            return self._strokes(char, x, y)
        return self._dots(char, x, y)

    def _segments(self, char: str, x: Picture, y: Picture) -> NDArray[np.bool_]:
        half, wide = 0.5 * self.thickness, self.aspect
        if char == ".":
            if self.point_beside:
                x = x + 0.5 * self.spacing + half
            return np.asarray((abs(x - half) <= half) & (abs(y - 1 + half) <= half))
        left, right, top, mid, low = half, wide - half, half, 0.5, 1 - half
        ends = {
            "a": (left, top, right, top),
            "b": (right, top, right, mid),
            "c": (right, mid, right, low),
            "d": (left, low, right, low),
            "e": (left, mid, left, low),
            "f": (left, top, left, mid),
            "g": (left, mid, right, mid),
        }
        lit = _SEGMENTS.get(char, "")
        if not self.tails:
            lit = {"6": "cdefg", "9": "abcfg"}.get(char, lit)
        elif char == "7" and self.gap > 0.025:
            lit = "abcf"
        out = np.zeros(x.shape, dtype=bool)
        for name in lit:
            x0, y0, x1, y1 = ends[name]
            along, across = (x, y) if y0 == y1 else (y, x)
            low_end, high_end = (x0, x1) if y0 == y1 else (y0, y1)
            middle = y0 if y0 == y1 else x0
            off = abs(across - middle)
            inside = (along - low_end - self.gap >= off - half) & (
                high_end - self.gap - along >= off - half
            )
            out |= inside & (off <= half)
        return out

    def _strokes(self, char: str, x: Picture, y: Picture) -> NDArray[np.bool_]:
        half = 0.5 * self.thickness
        scale = 1.0 - self.thickness  # strokes run inside the digit's height
        near = np.full(x.shape, np.inf, dtype=np.float32)
        for stroke in _STROKES.get(char, []):
            if len(stroke) == 6:
                cx, cy, rx, ry, a, b = stroke
                angle = np.radians(np.linspace(a, b, 33))
                px, py = cx + rx * np.cos(angle), cy + ry * np.sin(angle)
            else:
                px, py = np.array(stroke[0::2]), np.array(stroke[1::2])
            px, py = px + half, py * scale + half
            for i in range(px.size - 1):
                dx, dy = px[i + 1] - px[i], py[i + 1] - py[i]
                length = dx * dx + dy * dy
                t = ((x - px[i]) * dx + (y - py[i]) * dy) / length if length > 0 else 0 * x
                t = np.clip(t, 0, 1)
                near = np.minimum(near, np.hypot(x - px[i] - t * dx, y - py[i] - t * dy))
        return np.asarray(near <= (1.3 * half if char == "." else half), dtype=np.bool_)

    def _dots(self, char: str, x: Picture, y: Picture) -> NDArray[np.bool_]:
        font = DOTS[self.kind]
        rows = font.get(char, _DOTS_5X7.get(char, "0")).split()
        bits = np.array([[c == "1" for c in row] for row in rows])
        down = y * bits.shape[0]
        right = x * len(font["0"].split()) / self.aspect
        r, c = np.floor(down).astype(int), np.floor(right).astype(int)
        inside = (r >= 0) & (r < bits.shape[0]) & (c >= 0) & (c < bits.shape[1])
        lit = bits[np.clip(r, 0, bits.shape[0] - 1), np.clip(c, 0, bits.shape[1] - 1)] & inside
        u, v = abs(right - c - 0.5), abs(down - r - 0.5)
        half = 0.5 * self.thickness
        if self.round_dots:
            return np.asarray(lit & (np.hypot(u, v) <= half))
        return np.asarray(lit & (u <= half) & (v <= half))


def draw_face(rng: np.random.Generator, kind: str) -> Face:
    """Draw a face of one kind: ``"segments"``, ``"strokes"`` or a name in :data:`DOTS`."""
    if kind == "segments":
        return Face(
            kind,
            thickness=rng.uniform(0.10, 0.17),
            gap=rng.uniform(0.005, 0.035),
            aspect=rng.uniform(0.46, 0.64),
            slant=rng.choice([0.0, rng.uniform(0.05, 0.16)]),
            spacing=rng.uniform(0.2, 0.34),
            tails=bool(rng.random() < 0.7),
            point_beside=bool(rng.random() < 0.6),
        )
    if kind == "strokes":
        return Face(
            kind,
            thickness=rng.uniform(0.08, 0.16),
            slant=rng.choice([0.0, rng.uniform(0.0, 0.2)]),
            spacing=rng.uniform(0.1, 0.2),
        )
    return Face(
        kind,
        thickness=rng.uniform(0.75, 1.0),
        aspect=rng.uniform(0.8, 1.05),
        round_dots=bool(rng.random() < 0.3),
    )
