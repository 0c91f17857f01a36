"""Explain a stretch of whitened signal by clicks, and say how well each of them fits."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from counterproof.signals.clicks.examine import examine, mirror_peaks
from counterproof.signals.clicks.front import Samples
from counterproof.signals.clicks.matched import Templates, correlate
from counterproof.signals.clicks.pursuit import GRID, PHASES, TILE, pursue, take_off

Floats = NDArray[np.float64]
Ints = NDArray[np.int64]
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
class Mirrored:
    """Negative peaks left in the output, as if they were clicks: they tell the false rate.

    Args:
        starts: where they begin, as of clicks.
        amplitudes: their depths.
        energies: as of clicks.
        voices: of which template.
        scores: as of clicks.
        misfit: as of clicks.
    """

    starts: Ints
    amplitudes: Floats
    energies: Floats
    voices: Ints
    scores: Floats
    misfit: Floats


@dataclass(frozen=True, eq=False)
class Explained:
    """Clicks found in a stretch.

    Args:
        starts: template starts in 1/STEPS samples after the stretch's first sample, ascending.
        amplitudes: amplitudes.
        energies: their squares times the template's energy.
        voices: which template.
        scores: amplitude in standard deviations of the local noise.
        misfit: energy left in the click's own window over the energy of the click.
        rest: the whitened signal with the clicks taken off, shape (n,).
        tiles: mean square of the normalised output of voice 0 after subtraction, per tile.
        variance: that expected, with what the clicks leave behind, per tile.
        mirrored: what noise makes of a click upside down.
    """

    starts: Ints
    amplitudes: Floats
    energies: Floats
    voices: Ints
    scores: Floats
    misfit: Floats
    rest: Samples
    tiles: Floats
    variance: Floats
    mirrored: Mirrored


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
    energies = (amps * templates.root[kinds]) ** 2
    tile_of = np.clip(starts // PHASES // TILE, 0, count - 1)
    noise = np.maximum(variance[tile_of] - energies * leftover.kernel[leftover.before], sigma2)
    inside = (templates.waves[:, own[0] : own[1]].astype(np.float64) ** 2).sum(axis=1)
    local, misfit = examine(
        c, rest, templates.root, inside, starts, amps, kinds, own[0], own[1], NEAR_GRID
    )
    scores = np.sqrt(energies / np.maximum(noise, local))
    # the same chances for a click upside down, which no counter makes: what noise can do
    depths, dips, of = mirror_peaks(
        c, templates.root, variance, threshold, GRID * first, GRID * last, 200
    )
    near, wrong = examine(
        c, rest, templates.root, inside, dips * PHASES, depths, of, own[0], own[1], NEAR_GRID
    )
    limit = np.sqrt(np.maximum(variance[np.minimum(dips // TILE, count - 1)], near))
    heights = depths * templates.root[of]
    mirrored = Mirrored(
        dips * PHASES, depths, heights**2, of, heights / limit, np.asarray(wrong - 1.0)
    )
    powers = _tile_powers(c[0], templates.root[0])
    return Explained(
        starts, amps, energies, kinds, scores, misfit, rest, powers, variance, mirrored
    )


def _tile_powers(c: NDArray[np.float32], root: float) -> Floats:
    whole = c.size // TILE * TILE
    tiles = c[:whole].reshape(-1, TILE)
    return np.asarray(np.einsum("ij,ij->i", tiles, tiles), np.float64) * (root**2 / TILE)
