"""How well a match fits: what is left around it, in the filter's output and in its own window."""

from __future__ import annotations

from typing import Any

import numpy as np
from numba import njit

from counterproof.signals.clicks.pursuit import GRID, STEPS, TILE


@njit(cache=True, fastmath={"nnan", "nsz", "reassoc"})  # the front end lets no NaN pass
def _energy(row: Any) -> float:
    total = np.float32(0.0)
    for i in range(row.size):
        total += row[i] * row[i]
    return float(total)


@njit(cache=True)
def examine(
    c: Any,
    rest: Any,
    root: Any,
    inside: Any,
    starts: Any,
    amplitudes: Any,
    voices: Any,
    first: int,
    last: int,
    near: int,
) -> tuple[Any, Any]:
    """Return local power of the normalised output and misfit of each match.

    Args:
        c: the filter's output after subtraction, shape (voices, n).
        rest: whitened signal after subtraction, shape (m,).
        root: root of each template's energy.
        inside: energy of each template within its own window.
        starts: starts in 1/STEPS samples, shape (k,).
        amplitudes: amplitudes, shape (k,).
        voices: voices, shape (k,).
        first: first sample of the own window after the start …
        last: … and the one after its last.
        near: reach of "local" on the output's grid.
    """
    local = np.zeros(starts.size)
    misfit = np.zeros(starts.size)
    width = last - first
    for e in range(starts.size):
        k = voices[e]
        base = starts[e] // STEPS
        lo = max(0, GRID * base - near)
        hi = min(c.shape[1], GRID * base + near)
        if hi > lo:
            local[e] = _energy(c[k, lo:hi]) * root[k] ** 2 / (hi - lo)
        lo = min(max(0, base + first), rest.size)
        hi = min(base + last, rest.size)
        left = _energy(rest[lo:hi]) if hi > lo else 0.0
        # what was there before the click is not held against it
        early = max(0, lo - 2 * width)
        if lo > early:
            left -= _energy(rest[early:lo]) * (hi - lo) / (lo - early)
        misfit[e] = left / (amplitudes[e] ** 2 * inside[k] + 1e-30)
    return local, misfit


@njit(cache=True)
def mirror_peaks(
    c: Any, root: Any, variance: Any, threshold: float, first: int, last: int, most: int
) -> tuple[Any, Any, Any]:
    """Return depth, grid index and voice of negative peaks below minus the threshold."""
    depth = np.zeros(most)
    index = np.zeros(most, np.int64)
    voice = np.zeros(most, np.int64)
    found = 0
    first = max(first, 1)
    last = min(last, c.shape[1] - 1)
    for k in range(c.shape[0]):
        row = c[k]
        for i in range(first, last):
            v = row[i]
            if v >= 0.0 or v > row[i - 1] or v > row[i + 1] or found == most:
                continue
            if v * v * root[k] ** 2 > threshold**2 * variance[i // TILE]:
                depth[found] = -v
                index[found] = i
                voice[found] = k
                found += 1
    return depth[:found], index[:found], voice[:found]
