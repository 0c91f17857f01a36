"""The video reader against a general way of reading digits: matching templates at fixed places.

The baseline gets the alignment, the straightened line and the averaged looks of our reader, and the
same keyed stills. It reads by normalised cross-correlation with the keyed characters' pictures in
cells of equal width, as a person would first write it, and always answers. Its decimal point is
taken from the declared format.
"""

from __future__ import annotations

import tempfile
import time
from itertools import pairwise
from pathlib import Path

import numpy as np
from numpy.typing import NDArray

from benchmarks import Row
from counterproof.signals.video import Box, Format, Sheet, Watched, read, sheet_of, watch
from counterproof.simulate.video import Shown, draw_filming, film, shown_readings

TITLE = "Readings out of a video, against template matching in fixed cells"

SEEDS = range(45_000, 45_004)
KINDS = ("segments", "strokes", "round", "bold")
SECONDS = 60.0

Picture = NDArray[np.float32]


def _cells(line: Picture, count: int) -> list[Picture]:
    """Return a line cut into cells of equal width between the ink's first and last column."""
    inked = np.flatnonzero((line[8:40] > 0.4).any(axis=0))
    if inked.size < 4:
        return []
    edges = np.linspace(inked[0], inked[-1] + 1, count + 1).round().astype(int)
    cells = []
    for a, b in pairwise(edges):
        cell = line[:, a:b]
        at = np.linspace(0, max(cell.shape[1] - 1, 0), 20).round().astype(int)
        cells.append(cell[:, at] if cell.shape[1] else np.zeros((line.shape[0], 20), np.float32))
    return cells


def _correlation(a: Picture, b: Picture) -> float:
    a, b = a - a.mean(), b - b.mean()
    return float((a * b).sum() / (np.sqrt((a * a).sum() * (b * b).sum()) + 1e-9))


def baseline(watched: Watched, sheet: Sheet) -> list[tuple[float, float]]:
    """Return (middle of a look, value) by fixed cells."""
    known: list[tuple[str, Picture]] = []
    for still in sheet.keyed:
        known += zip(still.typed, _cells(still.line, len(still.typed)), strict=False)
    out = []
    for look in watched.scan.looks[0]:
        text = ""
        for cell in _cells(look.line, 4):
            text += max(known, key=lambda k: _correlation(cell, k[1]))[0]
        digits = text.replace(".", "")
        if digits.isdigit():
            out.append((look.middle_s, int(digits) / 100.0))
    return out


def _right(found: list[tuple[float, float]], shown: Shown) -> float:
    good = [abs(value - float(shown.at(at) or "nan")) < 1e-9 for at, value in found]
    return float(np.mean(good)) if good else 0.0


def measure() -> list[Row]:
    """Read four films both ways."""
    ours, theirs, cpu_ours, cpu_film = [], [], 0.0, 0.0
    with tempfile.TemporaryDirectory() as name:
        for seed, kind in zip(SEEDS, KINDS, strict=True):
            rng = np.random.default_rng(seed)
            n = int(SECONDS)
            values = np.round(0.2 * np.exp(rng.normal(0, 0.4, n)), 2)
            shown = shown_readings(np.arange(n) + 0.4, values, 2)
            panel, filming = draw_filming(seed, kind, SECONDS)
            made = film(Path(name) / "film.mp4", shown, SECONDS, panel, filming, seed)
            start = time.process_time()
            watched = watch(made.path, Box(*made.region))
            cpu_film += time.process_time() - start
            sheet = sheet_of(watched, Format.parse("0.00"))
            for still in sheet.open:
                still.typed = shown.at(still.time_s)
            start = time.process_time()
            readings = read(
                watched, sheet.glyphs(), Format.parse("0.00"), unit="µSv/h", keyed=sheet.keyed
            )
            cpu_ours += time.process_time() - start
            middle = readings.times_s + 0.3
            ours.append(_right(list(zip(middle, readings.values, strict=True)), shown))
            theirs.append(_right(baseline(watched, sheet), shown))
    a, b = float(np.mean(ours)), float(np.mean(theirs))
    return [
        Row(
            f"readings right among those given ({len(ours)} films of {SECONDS:g} s)",
            f"{100 * a:.2f} %",
            f"{100 * b:.2f} %",
            f"errors {(1 - b) / max(1 - a, 1e-4):.0f} × fewer",
            "the baseline has our alignment and averaging, and the same keyed stills",
        ),
        Row(
            "reading after one pass, share of the pass's processor time",
            f"{cpu_ours:.1f} s",
            f"{cpu_film:.1f} s for the pass",
            f"{cpu_ours / cpu_film:.2f}",
            "480 × 270 at 10 frames per second",
        ),
    ]
