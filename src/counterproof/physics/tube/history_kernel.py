"""Histories by numba: a source particle, where it may interact, and whether it counts.

Every photon's ray is cut into pieces by the cells of a fine grid; the photon is made to interact
in ``sites`` of them, chosen by importance and weighted so that the mean stays right, and what a
collision sets free is followed. Collisions on one ray exclude each other, so their scores add;
what later photons of the same collision score is multiplied by the probability that its electrons
did not count, so that a history counts once.
"""

from __future__ import annotations

import math

import numpy as np
from numba import njit

from counterproof.physics.tube.electron_kernel import crossing, electrons, find
from counterproof.physics.tube.layout import Grid, Tables
from counterproof.physics.tube.photon_kernel import interact
from counterproof.physics.tube.source_kernel import Source, start
from counterproof.physics.tube.stream import rand

_VOID = -1
_GAS = 0
_PIECES = 512
_PHOTONS = 256
_ELECTRONS = 96


@njit(cache=True)
def entry(g: Grid, x: float, y: float, z: float, u: float, v: float, w: float) -> float:
    """Distance to the outside of the grid along a ray; 0 inside, −1 if the ray misses."""
    t0 = 0.0
    t1 = 1e30
    zl = g.z[0]
    zh = g.z[-1]
    if abs(w) > 1e-14:
        a = (zl - z) / w
        b = (zh - z) / w
        t0 = max(t0, min(a, b))
        t1 = min(t1, max(a, b))
    elif z <= zl or z >= zh:
        return -1.0
    ro = g.r[-1]
    a = u * u + v * v
    c = x * x + y * y - ro * ro
    if a > 1e-14:
        b = x * u + y * v
        d = b * b - a * c
        if d <= 0.0:
            return -1.0
        s = math.sqrt(d)
        t0 = max(t0, (-b - s) / a)
        t1 = min(t1, (-b + s) / a)
    elif c >= 0.0:
        return -1.0
    if t1 <= t0:
        return -1.0
    return t0


@njit(cache=True)
def pieces(
    g: Grid,
    t: Tables,
    importance: np.ndarray,
    e: float,
    x: float,
    y: float,
    z: float,
    u: float,
    v: float,
    w: float,
    out: np.ndarray,
    cell: np.ndarray,
) -> int:
    """Cut a ray into pieces.

    ``out`` rows: distance to the start, length, attenuation coefficient, probability of a collision
    in the piece, running sum of probability times importance. ``cell`` rows: ring, slice, whether
    the ray runs outwards.
    """
    p = (math.log(e) - t.p_lo) * t.p_inv
    i = min(max(int(p), 0), t.photon.shape[1] - 2)
    f = p - i
    ir = find(g.r, math.sqrt(x * x + y * y))
    iz = find(g.z, z)
    nr = g.r.size - 1
    nz = g.z.size - 1
    n = 0
    s = 0.0
    dark = 1.0
    running = 0.0
    while 0 <= ir < nr and 0 <= iz < nz and n < _PIECES:
        d, side = crossing(g, ir, iz, x, y, z, u, v, w)
        m = g.material[ir, iz]
        if m >= 0 and d > 0.0:
            mu = t.photon[m, i, 0] + f * (t.photon[m, i + 1, 0] - t.photon[m, i, 0])
            tau = mu * d
            hit = dark * (-math.expm1(-tau))
            if g.z[iz] >= g.gas_z:
                outward = 1 if w > 0.0 else 0
            elif g.z[iz + 1] <= -g.gas_z:
                outward = 1 if w < 0.0 else 0
            else:
                outward = 1 if (x + 0.5 * d * u) * u + (y + 0.5 * d * v) * v > 0.0 else 0
            running += hit * importance[ir, iz, outward]
            out[n, 0] = s
            out[n, 1] = d
            out[n, 2] = mu
            out[n, 3] = hit
            out[n, 4] = running
            cell[n, 0] = ir
            cell[n, 1] = iz
            cell[n, 2] = outward
            n += 1
            dark *= math.exp(-tau)
        s += d
        x += u * d
        y += v * d
        z += w * d
        if side == 0:
            ir -= 1
        elif side == 1:
            ir += 1
        elif side == 2:
            iz -= 1
        else:
            iz += 1
    return n


@njit(cache=True)
def _collide(
    g: Grid,
    fine: Grid,
    t: Tables,
    importance: np.ndarray,
    photon: np.ndarray,
    u_site: float,
    weights: np.ndarray,
    rng: np.ndarray,
    n: int,
    rays: np.ndarray,
    cells: np.ndarray,
    at: np.ndarray,
    es: np.ndarray,
    ps: np.ndarray,
    n_ps: int,
    got: np.ndarray,
    pw: np.ndarray,
    flags: np.ndarray,
) -> tuple[int, int]:
    """Make the photon of ``n`` pieces interact once; returns photons waiting and the piece."""
    total = rays[n - 1, 4]
    want = u_site * total
    j = 0
    while j < n - 1 and rays[j, 4] < want:
        j += 1
    ir = cells[j, 0]
    iz = cells[j, 1]
    scale = total / importance[ir, iz, cells[j, 2]]
    q = rand(rng)
    tau = rays[j, 1] * rays[j, 2]
    depth = -math.log1p(q * math.expm1(-tau)) / rays[j, 2] if tau > 0.001 else q * rays[j, 1]
    s = rays[j, 0] + depth
    at[0] = photon[1] + s * photon[4]
    at[1] = photon[2] + s * photon[5]
    at[2] = photon[3] + s * photon[6]
    m = fine.material[ir, iz]
    before = n_ps
    ne, n_ps = interact(t, m, photon[0], at, photon[4], photon[5], photon[6], rng, es, 0, ps, n_ps)
    flags[0] = 1.0
    flags[1] = 0.0
    if m == _GAS and ne > 0:
        # the collision itself has ionised the gas; only electrons above the cut-off are kept
        flags[0] = 0.0
        flags[1] = 1.0
    elif ne > 0:
        n_ps = electrons(g, t, rng, es, ne, ps, n_ps, flags)
    got[0] += weights[0] * scale * (1.0 - flags[0])
    got[1] += weights[1] * scale * flags[1]
    wc = weights[0] * scale * flags[0]
    we = weights[1] * scale * (1.0 - flags[1])
    big = max(wc, we)
    k = before
    while k < n_ps:
        keep = True
        if big < 1.0:
            keep = rand(rng) < big
        if keep and big > 0.0:
            pw[k, 0] = wc / min(big, 1.0)
            pw[k, 1] = we / min(big, 1.0)
            k += 1
        else:
            n_ps -= 1
            for c in range(7):
                ps[k, c] = ps[n_ps, c]
    return n_ps, j


@njit(cache=True)
def _drain(
    g: Grid,
    fine: Grid,
    t: Tables,
    importance: np.ndarray,
    rng: np.ndarray,
    rays: np.ndarray,
    cells: np.ndarray,
    at: np.ndarray,
    es: np.ndarray,
    ps: np.ndarray,
    n_ps: int,
    got: np.ndarray,
    pw: np.ndarray,
    flags: np.ndarray,
    photon: np.ndarray,
    weights: np.ndarray,
) -> None:
    """Follow the waiting photons and all that they set free."""
    while n_ps > 0:
        n_ps -= 1
        for c in range(7):
            photon[c] = ps[n_ps, c]
        weights[0] = pw[n_ps, 0]
        weights[1] = pw[n_ps, 1]
        n = pieces(
            fine, t, importance, photon[0], photon[1], photon[2], photon[3],
            photon[4], photon[5], photon[6], rays, cells,
        )  # fmt: skip
        if n == 0 or rays[n - 1, 4] <= 0.0:
            continue
        n_ps, _ = _collide(
            g, fine, t, importance, photon, rand(rng), weights, rng, n, rays, cells,
            at, es, ps, n_ps, got, pw, flags,
        )  # fmt: skip


@njit(cache=True, nogil=True)
def run_chunk(
    g: Grid,
    fine: Grid,
    t: Tables,
    importance: np.ndarray,
    later: np.ndarray,
    direct: np.ndarray,
    source: Source,
    rng: np.ndarray,
    histories: int,
    sites: int,
    learn: np.ndarray,
    total: np.ndarray,
) -> None:
    """Follow ``histories`` source particles.

    Args:
        g: cells as the electrons see them.
        fine: the same, cut finer, as the photons see them.
        t: tables.
        importance: shape (nr, nz, 2) over the cells of ``fine``, inward and outward; positive
            wherever there is material.
        later: the same for photons that a collision has set free.
        direct: shape (nr, nz) over the cells of ``fine``; where true, electrons that source photons
            set free are followed but not scored, because :mod:`.direct_kernel` does that better.
        source: where the particles come from.
        rng: the chunk's stream.
        histories: how many.
        sites: collisions made per source photon.
        learn: shape (nr, nz, 2, 2); number of sites and squared score per unit weight are added.
        total: summed are counts, entries, counts², entries², histories.
    """
    rays = np.empty((_PIECES, 5))
    cells = np.empty((_PIECES, 3), np.int64)
    rays2 = np.empty((_PIECES, 5))
    cells2 = np.empty((_PIECES, 3), np.int64)
    ps = np.empty((_PHOTONS, 7))
    pw = np.empty((_PHOTONS, 2))
    es = np.empty((_ELECTRONS, 7))
    at = np.empty(3)
    got = np.zeros(2)
    here = np.zeros(2)
    flags = np.zeros(2)
    weights = np.empty(2)
    photon = np.empty(7)
    other = np.empty(7)
    shift = np.empty(4)
    for c in range(4):
        shift[c] = rand(rng)
    for k in range(histories):
        weight = start(source, shift, k, rng, photon)
        got[0] = 0.0
        got[1] = 0.0
        if weight > 0.0:
            s = entry(fine, photon[1], photon[2], photon[3], photon[4], photon[5], photon[6])
            if s >= 0.0:
                s += 1e-9
                photon[1] += s * photon[4]
                photon[2] += s * photon[5]
                photon[3] += s * photon[6]
                if source.kind_of_particle == 1:
                    for c in range(7):
                        es[0, c] = photon[c]
                    flags[0] = 1.0
                    flags[1] = 0.0
                    n_ps = electrons(g, t, rng, es, 1, ps, 0, flags)
                    got[0] = weight * (1.0 - flags[0])
                    got[1] = weight * flags[1]
                    for c in range(n_ps):
                        pw[c, 0] = weight * flags[0]
                        pw[c, 1] = weight * (1.0 - flags[1])
                    _drain(
                        g, fine, t, later, rng, rays, cells, at, es, ps, n_ps, got, pw,
                        flags, other, weights,
                    )  # fmt: skip
                else:
                    n = pieces(
                        fine, t, importance, photon[0], photon[1], photon[2], photon[3],
                        photon[4], photon[5], photon[6], rays, cells,
                    )  # fmt: skip
                    if n > 0 and rays[n - 1, 4] > 0.0:
                        u0 = shift[3] + k * 0.6180339887498949
                        u0 -= math.floor(u0)
                        for j in range(sites):
                            weights[0] = 1.0
                            weights[1] = 1.0
                            here[0] = 0.0
                            here[1] = 0.0
                            sum_imp = rays[n - 1, 4]
                            n_ps, at_piece = _collide(
                                g, fine, t, importance, photon, (j + u0) / sites, weights, rng,
                                n, rays, cells, at, es, ps, 0, here, pw, flags,
                            )  # fmt: skip
                            ir = cells[at_piece, 0]
                            iz = cells[at_piece, 1]
                            o = cells[at_piece, 2]
                            if direct[ir, iz]:
                                here[0] = 0.0
                                here[1] = 0.0
                            _drain(
                                g, fine, t, later, rng, rays2, cells2, at, es, ps, n_ps, here,
                                pw, flags, other, weights,
                            )  # fmt: skip
                            scale = sum_imp / importance[ir, iz, o]
                            learn[ir, iz, o, 0] += 1.0
                            learn[ir, iz, o, 1] += (here[0] / scale) ** 2
                            got[0] += weight * here[0] / sites
                            got[1] += weight * here[1] / sites
        total[0] += got[0]
        total[1] += got[1]
        total[2] += got[0] * got[0]
        total[3] += got[1] * got[1]
        total[4] += 1.0
