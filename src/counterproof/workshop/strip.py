"""The running picture of a listening: rate in stretches with limits, and intervals."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
from numpy.typing import NDArray

from counterproof.counting.poisson import rate_limits

Floats = NDArray[np.float64]

POINTS = 120
ENOUGH = 12.0
"""Counts that a stretch should hold on average, so that its limits tell something."""
LADDER_S = (0.5, 1.0, 2.0, 5.0, 10.0, 20.0, 30.0, 60.0, 120.0, 300.0, 600.0, 1800.0, 3600.0)


class Heard:
    """Pulses as they come, ready to be drawn at any time."""

    def __init__(self, first: Floats | None = None) -> None:
        """Begin with what was heard before, if anything."""
        start = np.empty(0) if first is None else np.asarray(first, dtype=np.float64)
        self._times = np.empty(max(1024, 2 * start.size))
        self._times[: start.size] = start
        self._size = start.size

    def add(self, times_s: Floats) -> None:
        """Take the next pulses, ascending."""
        needed = self._size + times_s.size
        if needed > self._times.size:
            larger = np.empty(2 * needed)
            larger[: self._size] = self._times[: self._size]
            self._times = larger
        self._times[self._size : needed] = times_s
        self._size = needed

    @property
    def times_s(self) -> Floats:
        """All pulses so far."""
        return self._times[: self._size]

    def before(self, end_s: float) -> int:
        """Return how many pulses came before ``end_s``."""
        return int(np.searchsorted(self.times_s, end_s))

    def strip(
        self, end_s: float, gaps: Sequence[tuple[float, float]] = (), resolving_s: float = 0.0
    ) -> tuple[float, Floats]:
        """Return the rate up to ``end_s`` in equal stretches.

        Args:
            end_s: up to where to draw.
            gaps: (start, end) of what was not heard; a stretch wholly inside one is NaN.
            resolving_s: events closer than this count as one; rates are corrected for it.

        Returns:
            The stretches' length in s, and rows of (middle, rate, low, high) with exact limits of
            95 %, shape (n, 4); the last stretch may be shorter.
        """
        if end_s <= 0.2:
            return LADDER_S[0], np.empty((0, 4))
        mean = self.before(end_s) / end_s
        fine = [w for w in LADDER_S if end_s / w <= POINTS]
        enough = [w for w in fine if w * mean >= ENOUGH and end_s / w >= 8]
        width = enough[0] if enough else (fine[0] if mean == 0 else self._coarse(fine, end_s))
        edges = np.append(np.arange(0.0, end_s - 0.25 * width, width), end_s)
        if edges.size < 2:
            edges = np.array([0.0, end_s])
        counts = np.diff(np.searchsorted(self.times_s, edges))
        live = np.diff(edges)
        for start, stop in gaps:
            overlap = np.minimum(edges[1:], stop) - np.maximum(edges[:-1], start)
            live = live - np.clip(overlap, 0.0, None)
        heard = live > 1e-3 * width
        rows = np.full((live.size, 4), np.nan)
        rows[:, 0] = 0.5 * (edges[1:] + edges[:-1])
        low, high = rate_limits(counts[heard], live[heard])
        measured = np.stack([counts[heard] / live[heard], low, high], axis=1)
        rows[heard, 1:] = measured / np.clip(1.0 - measured * resolving_s, 0.05, 1.0)
        return width, rows

    @staticmethod
    def _coarse(fine: list[float], end_s: float) -> float:
        """Few counts: some eight stretches of what there is."""
        return next((w for w in reversed(fine) if end_s / w >= 8), fine[0])

    def intervals(self, resolving_s: float = 0.0, bins: int = 24) -> dict[str, list[float]]:
        """Return the histogram of intervals beside the exponential of random events.

        Empty until there are 20 intervals.
        """
        gaps = np.diff(self.times_s)
        if gaps.size < 20:
            return {"x": [], "count": [], "expected": []}
        mean = max(float(gaps.mean()) - resolving_s, 1e-9)
        edges = np.linspace(0.0, resolving_s + 4.0 * mean, bins + 1)
        counts = np.histogram(gaps, edges)[0]
        rest = np.exp(-np.clip(edges - resolving_s, 0.0, None) / mean)
        return {
            "x": (0.5 * (edges[1:] + edges[:-1])).tolist(),
            "count": counts.astype(float).tolist(),
            "expected": (gaps.size * (rest[:-1] - rest[1:])).tolist(),
        }
