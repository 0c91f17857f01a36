"""Explain a stretch of whitened signal by clicks, and say how well each of them fits."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from counterproof.signals.clicks.front import Samples
from counterproof.signals.clicks.matched import Templates, correlate
from counterproof.signals.clicks.pursuit import GRID, PHASES, TILE, pursue, take_off

Floats = NDArray[np.float64]
Ints = NDArray[np.int64]
STEPS = GRID * PHASES
NEAR_GRID = 400


@dataclass(frozen=True, eq=False)
class Leftover:
    """What stays behind when a click is subtracted: codec noise, a changing room, clipping.

    Args:
        kernel: variance of the normalised output per energy of the click, by tile.
        before: index in ``kernel`` of the click's own tile.
    """

    kernel: Floats
    before: int


@dataclass(frozen=True, eq=False)
class Explained:
    """Clicks found in a stretch.

    Args:
        starts: template starts in 1/STEPS samples after the stretch's first sample, ascending.
        amplitudes: amplitudes.
        voices: which template.
        scores: amplitude in standard deviations of the local noise.
        misfit: energy left in the click's own window over the energy of the click.
        rest: the whitened signal with the clicks taken off, shape (n,).
        tiles: mean square of the normalised output of voice 0 after subtraction, per tile.
        lows: heights of the negative peaks of that output, in standard deviations.
    """

    starts: Ints
    amplitudes: Floats
    voices: Ints
    scores: Floats
    misfit: Floats
    rest: Samples
    tiles: Floats
    lows: Floats


def explain(
    y: Samples,
    templates: Templates,
    sigma2: float,
    leftover: Leftover,
    threshold: float,
    *,
    own: tuple[int, int],
    first: int = 0,
    last: int | None = None,
    rounds: int = 2,
) -> Explained:
    """Find clicks whose templates start between samples ``first`` and ``last``.

    Args:
        y: whitened signal, shape (n,).
        templates: the templates.
        sigma2: variance of the noise of the normalised matched filter's output.
        leftover: what clicks leave behind.
        threshold: height in standard deviations.
        own: first and last sample of a template's own window (the click without the room).
        first: search from here …
        last: … up to here; to the end when ``None``.
        rounds: how often to refine all and look again.
    """
    last = y.size if last is None else last
    c = correlate(y, templates)
    count = -(-c.shape[1] // TILE)
    variance = np.full(count, sigma2)
    # nearer than the width of the template's own peak there is one click, not two
    apart = max(2, round(0.25e-3 * 2 * 24000))
    positions, amplitudes, voices, found = pursue(
        c,
        templates.root,
        templates.gram,
        templates.half,
        variance,
        leftover.kernel,
        leftover.before,
        threshold,
        GRID * first,
        GRID * last,
        apart,
        4000,
        rounds,
    )
    order = np.argsort(positions[:found], kind="stable")
    starts = positions[:found][order]
    amps = amplitudes[:found][order]
    kinds = voices[:found][order]
    rest = y.copy()
    take_off(rest, templates.fine, kinds, starts, amps, 0, found)
    normal = c[0] * templates.root[0]
    padded = np.pad(normal, (0, count * TILE - normal.size)).reshape(count, TILE)
    tiles = np.mean(padded.astype(np.float64) ** 2, axis=1)
    energies = (amps * templates.root[kinds]) ** 2
    tile_of = np.clip(starts // PHASES // TILE, 0, count - 1)
    noise = np.maximum(variance[tile_of] - energies * leftover.kernel[leftover.before], sigma2)
    noise = np.maximum(noise, _local_power(c, templates.root, starts, kinds))
    scores = np.sqrt(energies / noise)
    misfit = _misfit(rest, templates, starts, amps, kinds, own)
    middle = normal[1:-1]
    dips = (middle < normal[:-2]) & (middle < normal[2:]) & (middle < 0)
    where = np.flatnonzero(dips) + 1
    where = where[(where >= GRID * first) & (where < GRID * last)]
    lows = -normal[where] / np.sqrt(variance[where // TILE])
    return Explained(starts, amps, kinds, scores, misfit, rest, tiles, lows[lows > threshold])


def _local_power(c: NDArray[np.float32], root: Floats, starts: Ints, voices: Ints) -> Floats:
    """Mean square of what is left of the normalised output around each click, shape (m,)."""
    out = np.empty(starts.size)
    near = NEAR_GRID
    for k in range(c.shape[0]):
        square = np.concatenate([[0.0], np.cumsum((c[k] * root[k]).astype(np.float64) ** 2)])
        mine = voices == k
        at = starts[mine] // PHASES
        lo = np.clip(at - near, 0, c.shape[1])
        hi = np.clip(at + near, 0, c.shape[1])
        out[mine] = (square[hi] - square[lo]) / np.maximum(hi - lo, 1)
    return out


def _misfit(
    rest: Samples,
    templates: Templates,
    starts: Ints,
    amplitudes: Floats,
    voices: Ints,
    own: tuple[int, int],
) -> Floats:
    square = np.concatenate([[0.0], np.cumsum(rest.astype(np.float64) ** 2)])
    base = starts // STEPS
    lo = np.clip(base + own[0], 0, rest.size)
    hi = np.clip(base + own[1], 0, rest.size)
    left = square[hi] - square[lo]
    # what was there before the click is not held against it
    early = np.clip(lo - 8 * (own[1] - own[0]) // 4, 0, rest.size)
    left = left - (square[lo] - square[early]) * (hi - lo) / np.maximum(lo - early, 1)
    energy = (templates.waves[:, own[0] : own[1]].astype(np.float64) ** 2).sum(axis=1)
    return np.asarray(left / (amplitudes**2 * energy[voices] + 1e-30))
