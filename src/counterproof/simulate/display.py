"""What a filmed display shows, and how it is drawn with its case and the desk around it."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field
from typing import Any

import numpy as np
from numpy.typing import NDArray
from scipy.ndimage import gaussian_filter

from counterproof.simulate.typefaces import DOTS, Face

Floats = NDArray[np.float64]
Picture = NDArray[np.float32]


@dataclass(frozen=True)
class Shown:
    """What one field of the display showed: each text from its time on until the next.

    Args:
        times_s: ascending, seconds from the recording's start.
        texts: as many texts.
    """

    times_s: Floats
    texts: tuple[str, ...]

    def at(self, time_s: float) -> str:
        """Return the text at a time; blank before the first."""
        i = int(np.searchsorted(self.times_s, time_s, side="right")) - 1
        return self.texts[i] if i >= 0 else ""


@dataclass(frozen=True)
class Panel:
    """A display: faces, colours and where its fields stand.

    Args:
        face: of the digits.
        digit_px: height of the main field's digits in pixels of the scene.
        dark_ink: dark on light (liquid crystal) or light on dark (diodes).
        paper: luminance of the background, 0…1.
        ink: luminance of the ink.
        unit: static text beside the digits; empty for none.
        places: digits that fit, for right-aligned fields; 0 aligns left.
        small: height of further fields over that of the main one.
        settle_s: time constant in which ink comes and goes (slow crystals).
        ghost: share of ink that unlit segments show.
    """

    face: Face = field(default_factory=Face)
    digit_px: int = 48
    dark_ink: bool = True
    paper: float = 0.62
    ink: float = 0.16
    unit: str = "µSv/h"
    places: int = 0
    small: float = 0.5
    settle_s: float = 0.0
    ghost: float = 0.0


def shown_readings(times_s: Floats, values: Floats, decimals: int, start: float = 0.0) -> Shown:
    """Return readings as texts with fixed decimals; the first stands from ``start`` on."""
    times = np.array(times_s, dtype=np.float64)
    if times.size:
        times[0] = min(times[0], start)
    return Shown(times, tuple(f"{v:.{decimals}f}" for v in values))


class Stage:
    """The scene in its own pixels: desk, case, display; redrawn only where texts change."""

    def __init__(self, panel: Panel, shown: Sequence[Shown], lamp: bool, rng: Any) -> None:
        """Draw all that does not change."""
        self.panel, self.shown = panel, shown
        d = panel.digit_px
        longest = [max((len(t) for t in s.texts), default=1) for s in shown]
        self.heights = [d] + [max(8, round(panel.small * d))] * (len(shown) - 1)
        wide = max(
            panel.face.draw("8" * n, h, 1).shape[1]
            for n, h in zip(longest, self.heights, strict=True)
        )
        unit_face = panel.face if panel.face.kind in DOTS else Face("round", thickness=0.9)
        unit_high = d if panel.face.kind in DOTS and rng.random() < 0.5 else round(0.42 * d)
        self.unit = unit_face.draw(panel.unit, unit_high) if panel.unit else np.zeros((1, 1))
        self.unit_at = (d - self.unit.shape[0], wide + round(0.9 * d))
        rows = sum(self.heights) + round(0.6 * d) * (len(shown) - 1)
        self.size = (rows, wide + round(0.9 * d) + self.unit.shape[1])
        self.pad = round(rng.uniform(0.35, 0.7) * d)
        self.wide = wide
        rim = round(rng.uniform(0.3, 0.6) * d)
        around = round(1.6 * d)
        inner = (self.size[0] + 2 * self.pad, self.size[1] + 2 * self.pad)
        full = (inner[0] + 2 * (rim + around), inner[1] + 2 * (rim + around))
        desk = gaussian_filter(rng.standard_normal(full), 6) + 0.3 * gaussian_filter(
            rng.standard_normal(full), 1.2
        )
        scene = (0.45 + 0.5 * desk).astype(np.float32)
        case = rng.uniform(0.08, 0.75)
        scene[around:-around, around:-around] = case
        # screws and print on the case give a camera something to hold on to
        for _ in range(14):
            y = rng.integers(around, full[0] - around)
            x = rng.integers(around, full[1] - around)
            scene[y : y + 3, x : x + rng.integers(3, 12)] = np.clip(case + 0.3, 0, 1)
        self.at = around + rim
        self.lamp = None
        if lamp:
            self.lamp = (round(0.6 * around), full[1] - round(1.2 * around), round(0.35 * d))
            y, x, r = self.lamp
            scene[y - r : y + r, x - r : x + r] = 0.1
        self.base = scene
        self.cached: Picture = scene
        self.cached_for: tuple[float, bool] | None = None
        self._inner = inner
        self._texts: tuple[str, ...] | None = None
        self._ink = np.zeros(inner, dtype=np.float32)
        self._target = self._ink

    def display_box(self) -> tuple[int, int, int, int]:
        """Return x, y, width and height of the display."""
        return self.at, self.at, self._inner[1], self._inner[0]

    def field_boxes(self) -> list[tuple[int, int, int, int]]:
        """Return the same for each number."""
        at, boxes = self.at + self.pad, []
        for high in self.heights:
            boxes.append((self.at + self.pad, at, self.wide, high))
            at += high + round(0.6 * self.panel.digit_px)
        return boxes

    def ink(self, time_s: float, since_s: float) -> tuple[Picture, bool]:
        """Return the display's ink at a time and whether it changed since the last call."""
        texts = tuple(s.at(time_s) for s in self.shown)
        if texts != self._texts:
            self._texts = texts
            self._target = self._draw(texts)
        gone = abs(self._target - self._ink).max() if self._target is not self._ink else 0.0
        if gone < 0.01:
            return self._ink, False
        keep = np.exp(-since_s / self.panel.settle_s) if self.panel.settle_s > 0 else 0.0
        mixed = self._target + np.float32(keep) * (self._ink - self._target)
        self._ink = self._target if keep < 0.01 else mixed.astype(np.float32)
        return self._ink, True

    def _draw(self, texts: tuple[str, ...]) -> Picture:
        panel, out = self.panel, np.zeros(self._inner, dtype=np.float32)
        at = self.pad
        for text, high, shown in zip(texts, self.heights, self.shown, strict=True):
            glyphs = panel.face.draw(text, high) if text else np.zeros((high, 1), np.float32)
            x = self.pad
            if panel.places:
                x += max(0, panel.face.draw(max(shown.texts, key=len), high, 1).shape[1])
                x -= glyphs.shape[1]
            part = out[at : at + high, x : x + glyphs.shape[1]]
            np.maximum(part, glyphs[:, : part.shape[1]], out=part)
            if panel.ghost > 0 and panel.face.kind == "segments":
                all_lit = panel.face.draw("8" * sum(c.isdigit() for c in text), high)
                np.maximum(part, np.float32(panel.ghost) * _fitted(all_lit, part.shape), out=part)
            at += high + round(0.6 * panel.digit_px)
        y, x = self.pad + self.unit_at[0], self.pad + self.unit_at[1]
        out[y : y + self.unit.shape[0], x : x + self.unit.shape[1]] = self.unit
        return out


def _fitted(picture: Picture, shape: tuple[int, ...]) -> Picture:
    out = np.zeros(shape, dtype=np.float32)
    rows, cols = min(shape[0], picture.shape[0]), min(shape[1], picture.shape[1])
    out[:rows, :cols] = picture[:rows, :cols]
    return out
