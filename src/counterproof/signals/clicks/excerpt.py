"""Choose the parts of a recording to learn from: short stretches around what may be clicks."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from counterproof.signals.clicks.front import Samples

Ints = NDArray[np.int64]

BEFORE_S = 0.10
AFTER_S = 0.15
FADE_S = 0.003
ENOUGH_S = 10.0


def around(
    x: Samples, places: Ints, rate: float, before_s: float, after_s: float
) -> tuple[Samples, Ints]:
    """Return the stretches around some places, joined softly, and where the places then lie.

    Args:
        x: signal at the working rate, shape (n,).
        places: positions in samples, ascending, shape (m,).
        rate: the working rate.
        before_s: what to keep before each place …
        after_s: … and after it; overlapping stretches become one.
    """
    first = np.maximum(places - round(before_s * rate), 0)
    last = np.minimum(places + round(after_s * rate), x.size)
    begins = np.flatnonzero(np.concatenate([[True], first[1:] > np.maximum.accumulate(last)[:-1]]))
    ends = np.concatenate([begins[1:], [places.size]])
    fade = round(FADE_S * rate)
    rise = np.linspace(0.0, 1.0, fade, dtype=np.float32)
    pieces: list[Samples] = []
    moved = np.empty(places.size, np.int64)
    at = 0
    for lo, hi in zip(begins, ends, strict=True):
        begin, end = int(first[lo]), int(last[lo:hi].max())
        piece = x[begin:end].copy()
        if piece.size > 2 * fade:
            piece[:fade] *= rise
            piece[-fade:] *= rise[::-1]
        moved[lo:hi] = places[lo:hi] - begin + at
        pieces.append(piece)
        at += piece.size
    return np.concatenate(pieces), moved


def enough_of(x: Samples, groups: list[Ints], rate: float) -> Samples:
    """Return the parts of a signal to learn from: about ENOUGH_S, spread evenly over its length.

    Args:
        x: signal at the working rate, shape (n,).
        groups: positions in samples of the candidates of each kind, the main kind first; of the
            others a quarter as many are taken.
        rate: the working rate.
    """
    if x.size <= 1.2 * ENOUGH_S * rate or not groups:
        return x
    count = int(ENOUGH_S / (BEFORE_S + AFTER_S))
    while True:
        chosen = [_some(group, count if n == 0 else count // 4) for n, group in enumerate(groups)]
        joined, _ = around(x, np.unique(np.concatenate(chosen)), rate, BEFORE_S, AFTER_S)
        if count >= groups[0].size or joined.size >= 0.8 * ENOUGH_S * rate:
            return joined
        count *= 2


def _some(places: Ints, count: int) -> Ints:
    """Return at most ``count`` of the places, spread evenly over them."""
    return places[np.linspace(0, places.size - 1, min(count, places.size)).astype(np.int64)]
