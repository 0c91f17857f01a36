"""Matching pursuit: take the loudest match, subtract it with all its echoes, go on.

Everything happens on the matched filter's output, on a grid of twice the working rate, where
subtracting a click means subtracting the template's autocorrelation. Positions are kept to an
eighth of a grid step. Compiled by numba, cached on disk.
"""

from __future__ import annotations

from typing import Any

import numpy as np
from numba import njit

GRID = 2
PHASES = 8
TILE = 64
STEPS = GRID * PHASES


@njit(cache=True)
def _subtract(c: Any, gram: Any, half: int, voice: int, position: int, amplitude: float) -> None:
    """Take one click at ``position`` (in 1/PHASES grid steps) off every voice's output."""
    base = position // PHASES
    phase = position - base * PHASES
    lo = max(0, base - half)
    hi = min(c.shape[1], base + half + 1)
    shift = half - base
    a = np.float32(amplitude)
    for k in range(c.shape[0]):
        row = gram[voice, k, phase, lo + shift : hi + shift]
        out = c[k, lo:hi]
        for i in range(out.size):
            out[i] -= a * row[i]


@njit(cache=True)
def _spread_variance(tiles: Any, kernel: Any, before: int, position: int, energy: float) -> None:
    """Add what a click of this energy leaves behind to the variance of the tiles around it."""
    tile = position // PHASES // TILE
    for j in range(kernel.size):
        i = tile + j - before
        if 0 <= i < tiles.size:
            tiles[i] += energy * kernel[j]


@njit(cache=True, fastmath={"nnan", "nsz"})  # the front end lets no NaN pass
def _top(row: Any) -> Any:
    """Return the largest value of a stretch."""
    top = np.float32(0.0)
    for i in range(row.size):
        top = max(top, row[i])
    return top


@njit(cache=True)
def _best_in_tile(
    c: Any, root: Any, limit: float, tile: int, first: int, last: int
) -> tuple[float, int, int]:
    """Return score, voice and index of the highest local maximum above the limit in a tile."""
    best = 0.0
    voice = -1
    where = -1
    lo = max(first, tile * TILE)
    hi = min(last, (tile + 1) * TILE)
    for k in range(c.shape[0]):
        row = c[k]
        if lo >= hi or _top(row[lo:hi]) * root[k] <= max(limit, best):
            continue
        for i in range(lo, hi):
            v = row[i] * root[k]
            if v > best and v > limit and row[i] >= row[i - 1] and row[i] >= row[i + 1]:
                best = v
                voice = k
                where = i
    return best, voice, where


@njit(cache=True)
def _vertex(a: float, b: float, d: float) -> tuple[float, float]:
    """Return offset (grid steps) and height of the parabola through three neighbours."""
    bend = a - 2.0 * b + d
    if bend >= 0.0:
        return 0.0, b
    x = 0.5 * (a - d) / bend
    x = min(0.5, max(-0.5, x))
    return x, b - 0.25 * (a - d) * x


@njit(cache=True)
def pursue(
    c: Any,
    root: Any,
    gram: Any,
    half: int,
    variance: Any,
    kernel: Any,
    before: int,
    threshold: float,
    first: int,
    last: int,
    apart: int,
    most: int,
    rounds: int,
) -> tuple[Any, Any, Any, int]:
    """Find clicks in the matched filter's output ``c``; ``c`` holds the residual afterwards.

    Args:
        c: amplitude if a click began here, per voice, shape (voices, n).
        root: root of each template's energy, shape (voices,).
        gram: what a click of voice j adds to the output of voice k, by phase,
            shape (voices, voices, PHASES, 2 half + 1).
        half: reach of ``gram`` in grid steps.
        variance: noise variance of ``c * root`` per tile, shape (tiles,); changed in place to
            include what the found clicks leave behind.
        kernel: variance left behind per energy of a click, by tile.
        before: index in ``kernel`` of the click's own tile.
        threshold: height in standard deviations.
        first: search from this grid index …
        last: … up to this one.
        apart: no two clicks of one voice closer than this many grid steps.
        most: stop after this many.
        rounds: how often to refine all and look again.

    Returns:
        positions (1/PHASES grid steps), amplitudes, voices, and how many of them are valid.
    """
    positions = np.zeros(most, np.int64)
    amplitudes = np.zeros(most, np.float64)
    voices = np.zeros(most, np.int64)
    found = 0
    n = c.shape[1]
    first = max(first, 8)
    last = min(last, n - 8)
    tiles = variance.size
    base = variance.copy()
    limit = np.empty(tiles)
    best = np.zeros(tiles)
    voice_at = np.zeros(tiles, np.int64)
    index_at = np.zeros(tiles, np.int64)
    reach = kernel.size
    for turn in range(rounds + 1):
        for tile in range(tiles):
            limit[tile] = threshold * np.sqrt(variance[tile])
            best[tile], voice_at[tile], index_at[tile] = _best_in_tile(
                c, root, limit[tile], tile, first, last
            )
        while found < most:
            top = int(np.argmax(best))
            if best[top] <= 0.0:
                break
            k = voice_at[top]
            i = index_at[top]
            clash = False
            for e in range(found):
                if voices[e] == k and abs(positions[e] - i * PHASES) < apart * PHASES:
                    clash = True
                    break
            if clash:
                # leave it to the refinement of the click that stands here
                best[top] = 0.0
                continue
            x, a = _vertex(c[k, i - 1], c[k, i], c[k, i + 1])
            position = int(np.floor((i + x) * PHASES + 0.5))
            positions[found] = position
            amplitudes[found] = a
            voices[found] = k
            found += 1
            _subtract(c, gram, half, k, position, a)
            _spread_variance(variance, kernel, before, position, (a * root[k]) ** 2)
            lo = max(0, (i - half) // TILE)
            hi = min(tiles, (i + half) // TILE + 1)
            lo = min(lo, max(0, top - reach))
            hi = max(hi, min(tiles, top + reach))
            for tile in range(lo, hi):
                limit[tile] = threshold * np.sqrt(variance[tile])
                best[tile], voice_at[tile], index_at[tile] = _best_in_tile(
                    c, root, limit[tile], tile, first, last
                )
        if turn == rounds:
            break
        # refine every click with all the others taken off
        for _ in range(2):
            for e in range(found):
                k = voices[e]
                if amplitudes[e] <= 0.0:
                    continue
                old = positions[e]
                i = old // PHASES
                own = gram[k, k, old - i * PHASES]
                if i < 8 or i >= n - 8:
                    continue
                # the output near the peak, as it would be with all others taken off
                a0 = amplitudes[e]
                top = -1e30  # type: ignore[assignment]  # compiled
                j = i
                for m in range(i - 4, i + 6):
                    v = c[k, m] + a0 * own[half + m - i]
                    if v > top:
                        top = v
                        j = m
                left = c[k, j - 1] + a0 * own[half + j - 1 - i]
                right = c[k, j + 1] + a0 * own[half + j + 1 - i]
                x, a = _vertex(left, top, right)
                position = int(np.floor((j + x) * PHASES + 0.5))
                a = max(a, 0.0)
                if position == old:
                    if abs(a - a0) < 2e-3 * a0:
                        continue
                    _subtract(c, gram, half, k, old, a - a0)
                else:
                    _subtract(c, gram, half, k, old, -a0)
                    if a > 0.0:
                        _subtract(c, gram, half, k, position, a)
                positions[e] = position
                amplitudes[e] = a
        # drop what the refinement left below the limit
        variance[:] = base
        for e in range(found):
            if amplitudes[e] > 0.0:
                energy = (amplitudes[e] * root[voices[e]]) ** 2
                _spread_variance(variance, kernel, before, positions[e], energy)
        kept = 0
        for e in range(found):
            tile = min(tiles - 1, max(0, positions[e] // PHASES // TILE))
            own = (amplitudes[e] * root[voices[e]]) ** 2
            rest = max(variance[tile] - own * kernel[before], base[tile])
            if amplitudes[e] > 0.0 and own > threshold**2 * rest:
                positions[kept] = positions[e]
                amplitudes[kept] = amplitudes[e]
                voices[kept] = voices[e]
                kept += 1
            elif amplitudes[e] > 0.0:
                _subtract(c, gram, half, voices[e], positions[e], -amplitudes[e])
        found = kept
        variance[:] = base
        for e in range(found):
            energy = (amplitudes[e] * root[voices[e]]) ** 2
            _spread_variance(variance, kernel, before, positions[e], energy)
    return positions, amplitudes, voices, found


@njit(cache=True)
def take_off(
    y: Any, fine: Any, voices: Any, starts: Any, amplitudes: Any, origin: int, count: int
) -> None:
    """Subtract found clicks from the whitened signal in place.

    Args:
        y: whitened signal, shape (n,).
        fine: templates at every sub-sample phase, shape (voices, GRID * PHASES, length).
        voices: voice of each click, shape (m,).
        starts: template starts in 1/(GRID PHASES) working samples, shape (m,).
        amplitudes: their amplitudes, shape (m,).
        origin: index of ``y[0]`` on the same count of working samples.
        count: how many of the clicks to subtract.
    """
    steps = GRID * PHASES
    length = fine.shape[2]
    for e in range(count):
        base = starts[e] // steps
        phase = starts[e] - base * steps
        row = fine[voices[e], phase]
        lo = base - origin
        for i in range(max(0, -lo), min(length, y.size - lo)):
            y[lo + i] -= amplitudes[e] * row[i]
