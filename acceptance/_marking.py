"""Marking a detector's answers: one-to-one matching with one constant latency per file."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

Floats = NDArray[np.float64]

TOLERANCE_S = 0.001
"""How near a report must lie to a true event."""


def pair(
    truth_s: Floats, found_s: Floats, within_s: float
) -> tuple[NDArray[np.int64], NDArray[np.int64]]:
    """Match two ascending lists one to one, as many pairs as possible, none further apart.

    Taking the earliest partner that is near enough never costs a pair on a line.

    Returns:
        Indices into ``truth_s`` and into ``found_s``, of equal length.
    """
    a: list[int] = []
    b: list[int] = []
    i = j = 0
    truth, found = truth_s.tolist(), found_s.tolist()
    while i < len(truth) and j < len(found):
        gap = found[j] - truth[i]
        if abs(gap) <= within_s:
            a.append(i)
            b.append(j)
            i += 1
            j += 1
        elif gap < 0:
            j += 1
        else:
            i += 1
    return np.array(a, dtype=np.int64), np.array(b, dtype=np.int64)


def latency(truth_s: Floats, found_s: Floats) -> float:
    """Estimate the constant latency of the detections, at most ±12 ms, by mode, then by median."""
    lo = np.searchsorted(found_s, truth_s - 0.012)
    hi = np.searchsorted(found_s, truth_s + 0.012)
    gaps = [found_s[a:b] - t for a, b, t in zip(lo, hi, truth_s, strict=True) if b > a]
    if not gaps:
        return 0.0
    every = np.concatenate(gaps)
    counts, edges = np.histogram(every, bins=np.arange(-0.0125, 0.0126, 0.0005))
    # two neighbouring bins, so that a mode on an edge is not split
    best = int(np.argmax(counts[:-1] + counts[1:]))
    centre = float(edges[best + 1])
    near = every[np.abs(every - centre) <= TOLERANCE_S]
    return float(np.median(near)) if near.size else 0.0


def mark(
    truth_s: Floats, found_s: Floats, resolving_s: float
) -> tuple[int, int, int, float, float]:
    """Mark detections: hits, misses, false ones, latency and timing spread (seconds).

    A true event closer than ``resolving_s`` to the true event before it may be reported or
    merged: unreported it is no miss, reported it is neither hit nor false.
    """
    late = latency(truth_s, found_s)
    found = found_s - late
    optional = np.zeros(truth_s.size, dtype=bool)
    optional[1:] = np.diff(truth_s) < resolving_s
    # events that must be found choose first; what is left over is excused where it reports an
    # event that might have been merged
    _, used = pair(truth_s[~optional], found, TOLERANCE_S)
    left = np.setdiff1d(np.arange(found.size), used)
    _, excused = pair(truth_s[optional], found[left], TOLERANCE_S)
    hits = used.size
    # timing is judged on events that stand alone, where it is clear which report means which
    apart = np.diff(truth_s, prepend=-1.0, append=np.inf)
    alone = (apart[:-1] > 0.02) & (apart[1:] > 0.02)
    t, f = pair(truth_s[alone], found, TOLERANCE_S)
    errors = found[f] - truth_s[alone][t]
    spread = float(np.std(errors)) if errors.size > 2 else float("nan")
    return hits, int((~optional).sum()) - hits, left.size - excused.size, late, spread
