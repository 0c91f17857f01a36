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
    moller_share,
    table_range,
    turned,
)
from counterproof.physics.tube.layout import (
    BREMS,
    ELASTIC,
    G_SOFT,
    MC2,
    MOLLER,
    MU_CUT,
    SCREEN,
    SOFT_LOSS,
    Tables,
)
from counterproof.physics.tube.stream import rand

NODES = 6000
PATHS = 24
_DELTA_SHARE = 0.05  # secondaries below this share of the first energy are let go
_TAIL = 0.3  # below this share of the energy at birth, steps are coarse
_SKIP = 0.002  # nodes closer together than this share of the range at birth are merged


@njit(cache=True)
def follow(
    t: Tables,
    m: int,
    rng: np.ndarray,
    electrons: np.ndarray,
    count: int,
    nodes: np.ndarray,
    first: np.ndarray,
    parent: np.ndarray,
    birth: np.ndarray,
) -> int:
    """Follow electrons born at the origin, and fast ones they set free, down to the cut-off.

    Args:
        t: tables.
        m: material.
        rng: stream.
        electrons: rows ``energy, x, y, z, u, v, w``, shape (PATHS, 7); grown by secondaries.
        count: how many rows are taken at the start.
        nodes: filled: rows ``x, y, z, energy``, shape (NODES, 4).
        first: filled: row of the first node of each path and, after the last, the number of nodes;
            shape (PATHS + 1,).
        parent: filled: path that set each path free, −1 for those given; shape (PATHS,).
        birth: filled: node of the parent where that was; shape (PATHS,).

    Returns:
        number of paths.
    """
    top = t.electron.shape[1] - 2
    n = 0
    k = 0
    least = t.cut
    for c in range(count):
        parent[c] = -1
        least = max(least, _DELTA_SHARE * electrons[c, 0])
    while k < count:
        e = electrons[k, 0]
        x = electrons[k, 1]
        y = electrons[k, 2]
        z = electrons[k, 3]
        u = electrons[k, 4]
        v = electrons[k, 5]
        w = electrons[k, 6]
        first[k] = n
        k += 1
        table = t.electron
        tail = _TAIL * e
        skip = (_SKIP * table_range(t, m, e)) ** 2
        lx = x
        ly = y
        lz = z
        if n < NODES:
            nodes[n, 0] = x
            nodes[n, 1] = y
            nodes[n, 2] = z
            nodes[n, 3] = e
            n += 1
        while e >= t.cut and n < NODES:
            if e < tail:
                table = t.coarse
            p = (math.log(e) - t.e_lo) * t.e_inv
            i = int(p)
            if i > top:
                i = top
            f = p - i
            lo = table[m, i]
            hi = table[m, i + 1]
            loss = lo[SOFT_LOSS] + f * (hi[SOFT_LOSS] - lo[SOFT_LOSS])
            s_el = lo[ELASTIC] + f * (hi[ELASTIC] - lo[ELASTIC])
            s_mo = lo[MOLLER] + f * (hi[MOLLER] - lo[MOLLER])
            s_br = lo[BREMS] + f * (hi[BREMS] - lo[BREMS])
            total = s_el + s_mo + s_br
            step = -math.log(rand(rng)) / total
            longest = t.max_loss * e / loss
            hard = True
            if step > longest:
                step = longest
                hard = False
            d = rand(rng) * step
            x += u * d
            y += v * d
            z += w * d
            g1 = (lo[G_SOFT] + f * (hi[G_SOFT] - lo[G_SOFT])) * step
            cos = 1.0 + g1 * math.log(rand(rng))
            if cos < -1.0:
                cos = -1.0
            if g1 > 0.02 and (x - lx) ** 2 + (y - ly) ** 2 + (z - lz) ** 2 > skip:
                # a corner worth a node of its own
                lx = x
                ly = y
                lz = z
                nodes[n, 0] = x
                nodes[n, 1] = y
                nodes[n, 2] = z
                nodes[n, 3] = e - loss * d
                n += 1
                if n >= NODES:
                    break
            u, v, w = turned(u, v, w, cos, 6.283185307179586 * rand(rng))
            d = step - d
            x += u * d
            y += v * d
            z += w * d
            e -= loss * step
            if (x - lx) ** 2 + (y - ly) ** 2 + (z - lz) ** 2 > skip or e < t.cut:
                lx = x
                ly = y
                lz = z
                nodes[n, 0] = x
                nodes[n, 1] = y
                nodes[n, 2] = z
                nodes[n, 3] = e
                n += 1
            if not hard or not e >= t.cut:
                continue
            pick = rand(rng) * total
            if pick < s_el:
                a = math.exp(lo[SCREEN] + f * (hi[SCREEN] - lo[SCREEN]))
                c = lo[MU_CUT] + f * (hi[MU_CUT] - lo[MU_CUT])
                q = rand(rng)
                mu = 1.0 / (q / (c + a) + (1.0 - q) / (1.0 + a)) - a
                u, v, w = turned(u, v, w, 1.0 - 2.0 * mu, 6.283185307179586 * rand(rng))
            elif pick < s_el + s_mo:
                kc = max(t.moller_cut, t.moller_fraction * e) / e
                if kc >= 0.5:
                    continue
                share = moller_share(e, kc, rng)
                phi = 6.283185307179586 * rand(rng)
                given = share * e
                if given > least and count < PATHS:
                    cd = math.sqrt(share * (e + 2.0 * MC2) / (given + 2.0 * MC2))
                    du, dv, dw = turned(u, v, w, min(cd, 1.0), phi + 3.141592653589793)
                    electrons[count, 0] = given
                    electrons[count, 1] = x
                    electrons[count, 2] = y
                    electrons[count, 3] = z
                    electrons[count, 4] = du
                    electrons[count, 5] = dv
                    electrons[count, 6] = dw
                    parent[count] = k - 1
                    birth[count] = n - 1
                    count += 1
                left = e - given
                cp = math.sqrt(left / e * (e + 2.0 * MC2) / (left + 2.0 * MC2))
                u, v, w = turned(u, v, w, min(cp, 1.0), phi)
                e = left
            else:
                kc = max(t.brems_cut, t.brems_fraction * e) / e
                if kc < 1.0:
                    e -= e * brems_share(kc, rng)
    first[k] = n
    return k
