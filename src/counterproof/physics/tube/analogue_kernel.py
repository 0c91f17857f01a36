"""The same physics without variance reduction, by numba: what quick estimators are held against.

Photons fly and interact as they do in nature, every electron that can reach the gas is followed,
and a history counts once or not at all. Slow, and simple enough to be believed.
"""

from __future__ import annotations

import math

import numpy as np
from numba import njit

from counterproof.physics.tube.electron_kernel import crossing, electrons, find, next_cell
from counterproof.physics.tube.history_kernel import entry
from counterproof.physics.tube.layout import Grid, Tables
from counterproof.physics.tube.photon_kernel import interact
from counterproof.physics.tube.source_kernel import Source, start
from counterproof.physics.tube.stream import rand

_GAS = 0


@njit(cache=True)
def _fly(g: Grid, t: Tables, photon: np.ndarray, rng: np.ndarray, at: np.ndarray) -> int:
    """Move a photon to its next collision; returns the material there or −1 if it leaves."""
    p = (math.log(photon[0]) - t.p_lo) * t.p_inv
    i = min(max(int(p), 0), t.photon.shape[1] - 2)
    f = p - i
    x, y, z = photon[1], photon[2], photon[3]
    u, v, w = photon[4], photon[5], photon[6]
    ir = find(g.r, math.sqrt(x * x + y * y))
    iz = find(g.z, z)
    left = -math.log(rand(rng))
    while 0 <= ir < g.r.size - 1 and 0 <= iz < g.z.size - 1:
        d, side = crossing(g, ir, iz, x, y, z, u, v, w)
        m = g.material[ir, iz]
        if m >= 0:
            mu = t.photon[m, i, 0] + f * (t.photon[m, i + 1, 0] - t.photon[m, i, 0])
            if left < mu * d:
                s = left / mu
                at[0], at[1], at[2] = x + s * u, y + s * v, z + s * w
                return int(m)
            left -= mu * d
        x += u * d
        y += v * d
        z += w * d
        ir, iz = next_cell(side, ir, iz)
    return -1


@njit(cache=True, nogil=True)
def run_analogue(
    g: Grid, t: Tables, source: Source, rng: np.ndarray, histories: int, total: np.ndarray
) -> None:
    """Follow ``histories`` source photons.

    Args:
        g: cells.
        t: tables.
        source: of photons.
        rng: stream.
        histories: how many.
        total: summed are counts, entries, their squares, histories.
    """
    ps = np.empty((256, 7))
    es = np.empty((96, 7))
    at = np.empty(3)
    photon = np.empty(7)
    flags = np.empty(2)
    shift = np.empty(4)
    for k in range(histories):
        # no low-discrepancy sequence either: a fresh shift for every history
        for c in range(4):
            shift[c] = rand(rng)
        weight = start(source, shift, k, rng, photon)
        total[4] += 1.0
        far = entry(g, photon[1], photon[2], photon[3], photon[4], photon[5], photon[6])
        if weight <= 0.0 or far < 0.0:
            continue
        for c in range(3):
            photon[1 + c] += (far + 1e-9) * photon[4 + c]
        for c in range(7):
            ps[0, c] = photon[c]
        n = 1
        dark = 1.0
        entered = 0.0
        while n > 0:
            n -= 1
            for c in range(7):
                photon[c] = ps[n, c]
            m = _fly(g, t, photon, rng, at)
            if m < 0:
                continue
            ne, n = interact(
                t, m, photon[0], at, photon[4], photon[5], photon[6], rng, es, 0, ps, n
            )
            if ne == 0:
                continue
            if m == _GAS:
                dark = 0.0
                entered = 1.0
                continue
            flags[0] = 1.0
            flags[1] = 0.0
            n = electrons(g, t, rng, es, ne, ps, n, flags)
            dark *= flags[0]
            entered = max(entered, flags[1])
        count = weight if rand(rng) >= dark else 0.0
        total[0] += count
        total[1] += weight * entered
        total[2] += count * count
        total[3] += weight * weight * entered
