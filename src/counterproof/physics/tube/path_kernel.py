"""Electron paths in an endless medium, by numba: made once, laid into the wall many times.

Scattering and loss do not depend on where an electron is inside one material. A path is therefore
followed once, without walls, and kept as nodes; :mod:`.direct_kernel` lays it into the tube at many
places. The physics is that of :mod:`.electron_kernel`.
"""

from __future__ import annotations

import math

import numpy as np
from numba import njit

from counterproof.physics.tube.electron_kernel import (
    brems_share,
    elastic_cosine,
    moller_cosines,
    moller_share,
    rates,
    table_range,
    turned,
)
from counterproof.physics.tube.layout import (
    G_SOFT,
    Tables,
)
from counterproof.physics.tube.stream import rand

NODES = 4000
PATHS = 24
_DELTA_SHARE = 0.05  # secondaries below this share of the first energy are let go
_TAIL = 0.3  # below this share of the energy at birth, steps are coarse
_SKIP = 0.002  # nodes closer together than this share of the range at birth are merged


@njit(cache=True)
def begin(t: Tables, m: int, electron: np.ndarray, state: np.ndarray) -> None:
    """Set ``state`` (shape 12) to the start of a path: ``energy, x, y, z, u, v, w, …``."""
    for c in range(7):
        state[c] = electron[c]
    state[7] = _TAIL * electron[0]
    state[8] = (_SKIP * table_range(t, m, electron[0])) ** 2
    state[9] = electron[1]
    state[10] = electron[2]
    state[11] = electron[3]


@njit(cache=True)
def least_delta(t: Tables, electrons: np.ndarray, count: int) -> float:
    """Energy below which electrons set free by these are let go."""
    least = t.cut
    for c in range(count):
        least = max(least, _DELTA_SHARE * electrons[c, 0])
    return least


@njit(cache=True)
def advance(
    t: Tables,
    m: int,
    rng: np.ndarray,
    state: np.ndarray,
    steps: int,
    nodes: np.ndarray,
    n: int,
    electrons: np.ndarray,
    count: int,
    least: float,
    path: int,
    parent: np.ndarray,
    birth: np.ndarray,
) -> tuple[int, int]:
    """Follow one electron for some steps, or down to the cut-off.

    Args:
        t: tables.
        m: material.
        rng: stream.
        state: of the path, see :func:`begin`; its energy falls below the cut-off at the end.
        steps: at most so many.
        nodes: rows ``x, y, z, energy`` are appended, shape (NODES, 4).
        n: rows in use.
        electrons: secondaries are appended, rows ``energy, x, y, z, u, v, w``, shape (PATHS, 7).
        count: rows in use.
        least: least energy of a secondary that is kept.
        path: number of this path.
        parent: filled for secondaries: the path that set it free.
        birth: filled for secondaries: the node of the parent where that was.

    Returns:
        rows in use in ``nodes`` and ``electrons``.
    """
    top = t.electron.shape[1] - 2
    e, x, y, z = state[0], state[1], state[2], state[3]
    u, v, w = state[4], state[5], state[6]
    tail, skip = state[7], state[8]
    lx, ly, lz = state[9], state[10], state[11]
    table = t.electron
    for _ in range(steps):
        if n > NODES - 3:
            e = 0.0
        if not e >= t.cut:
            break
        if e < tail:
            table = t.coarse
        p = (math.log(e) - t.e_lo) * t.e_inv
        i = min(int(p), top)
        f = p - i
        lo = table[m, i]
        hi = table[m, i + 1]
        loss, s_el, s_mo, s_br = rates(lo, hi, f)
        total = s_el + s_mo + s_br
        step = -math.log(rand(rng)) / total
        longest = t.max_loss * e / loss
        hard = step <= longest
        if not hard:
            step = longest
        d = rand(rng) * step
        x += u * d
        y += v * d
        z += w * d
        g1 = (lo[G_SOFT] + f * (hi[G_SOFT] - lo[G_SOFT])) * step
        cos = max(1.0 + g1 * math.log(rand(rng)), -1.0)
        if g1 > 0.02 and (x - lx) ** 2 + (y - ly) ** 2 + (z - lz) ** 2 > skip:
            # a corner worth a node of its own
            lx, ly, lz = x, y, z
            nodes[n, 0], nodes[n, 1], nodes[n, 2], nodes[n, 3] = x, y, z, e - loss * d
            n += 1
        u, v, w = turned(u, v, w, cos, 6.283185307179586 * rand(rng))
        d = step - d
        x += u * d
        y += v * d
        z += w * d
        e -= loss * step
        if (x - lx) ** 2 + (y - ly) ** 2 + (z - lz) ** 2 > skip or e < t.cut:
            lx, ly, lz = x, y, z
            nodes[n, 0], nodes[n, 1], nodes[n, 2], nodes[n, 3] = x, y, z, e
            n += 1
        if not hard or not e >= t.cut:
            continue
        pick = rand(rng) * total
        if pick < s_el:
            cos = elastic_cosine(lo, hi, f, rng)
            u, v, w = turned(u, v, w, cos, 6.283185307179586 * rand(rng))
        elif pick < s_el + s_mo:
            kc = max(t.moller_cut, t.moller_fraction * e) / e
            if kc >= 0.5:
                continue
            share = moller_share(e, kc, rng)
            given = share * e
            cp, cd = moller_cosines(e, share)
            phi = 6.283185307179586 * rand(rng)
            if given > least and count < PATHS:
                du, dv, dw = turned(u, v, w, cd, phi + 3.141592653589793)
                born = electrons[count]
                born[0] = given
                born[1], born[2], born[3] = x, y, z
                born[4], born[5], born[6] = du, dv, dw
                parent[count] = path
                birth[count] = n - 1
                count += 1
            u, v, w = turned(u, v, w, cp, phi)
            e -= given
        else:
            kc = max(t.brems_cut, t.brems_fraction * e) / e
            if kc < 1.0:
                e -= e * brems_share(kc, rng)
    state[0], state[1], state[2], state[3] = e, x, y, z
    state[4], state[5], state[6] = u, v, w
    state[9], state[10], state[11] = lx, ly, lz
    return n, count
