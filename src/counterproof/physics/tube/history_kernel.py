"""Histories by numba: what becomes of photons after their first collision, and of electrons.

A source photon is made to collide somewhere in the layers, chosen by how well what it sends on can
reach the gas. Every photon that a collision sends on scores: it is made to collide once more where
electrons can reach the gas (its *skin*), and what that sets free is followed and weighted with the
probability of that collision. Then the photon flies on as in nature. Collisions on one ray exclude
each other, so their scores add; what a collision's photons score is multiplied by the probability
that its electrons did not count, so that a history counts once.
"""

from __future__ import annotations

import math

import numpy as np
from numba import njit

from counterproof.physics.tube.electron_kernel import crossing, electrons, find, next_cell
from counterproof.physics.tube.layout import Grid, Tables
from counterproof.physics.tube.photon_kernel import interact
from counterproof.physics.tube.source_kernel import Source, start
from counterproof.physics.tube.stream import rand

_GAS = 0
_PIECES = 512
_PHOTONS = 256
_ELECTRONS = 96
_CLASS = 1.0  # width of a class of photon energies, in ln E


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
        ir, iz = next_cell(side, ir, iz)
    return n


@njit(cache=True)
def place(
    fine: Grid,
    rays: np.ndarray,
    cells: np.ndarray,
    n: int,
    photon: np.ndarray,
    rng: np.ndarray,
    at: np.ndarray,
) -> tuple[int, int]:
    """Choose one of ``n`` pieces by the running sum and a point in it; its material and number."""
    want = rand(rng) * rays[n - 1, 4]
    j = 0
    while j < n - 1 and rays[j, 4] < want:
        j += 1
    q = rand(rng)
    tau = rays[j, 1] * rays[j, 2]
    depth = -math.log1p(q * math.expm1(-tau)) / rays[j, 2] if tau > 0.001 else q * rays[j, 1]
    s = rays[j, 0] + depth
    at[0] = photon[1] + s * photon[4]
    at[1] = photon[2] + s * photon[5]
    at[2] = photon[3] + s * photon[6]
    return int(fine.material[cells[j, 0], cells[j, 1]]), j


@njit(cache=True)
def _free(
    g: Grid,
    t: Tables,
    m: int,
    photon: np.ndarray,
    at: np.ndarray,
    rng: np.ndarray,
    es: np.ndarray,
    ps: np.ndarray,
    n_ps: int,
    flags: np.ndarray,
) -> int:
    """Let a photon collide and follow its electrons; returns the photons waiting."""
    flags[0] = 1.0
    flags[1] = 0.0
    ne, n_ps = interact(t, m, photon[0], at, photon[4], photon[5], photon[6], rng, es, 0, ps, n_ps)
    if ne > 0 and m == _GAS:
        # the collision itself has ionised the gas
        flags[0] = 0.0
        flags[1] = 1.0
    elif ne > 0:
        n_ps = electrons(g, t, rng, es, ne, ps, n_ps, flags)
    return n_ps


@njit(cache=True)
def _skin(
    g: Grid,
    fine: Grid,
    t: Tables,
    importance: np.ndarray,
    photon: np.ndarray,
    weights: np.ndarray,
    rng: np.ndarray,
    rays: np.ndarray,
    cells: np.ndarray,
    at: np.ndarray,
    es: np.ndarray,
    ps: np.ndarray,
    flags: np.ndarray,
    got: np.ndarray,
) -> None:
    """Score the electrons that this flight of a photon may set free near the gas."""
    n = pieces(
        fine, t, importance, photon[0], photon[1], photon[2], photon[3],
        photon[4], photon[5], photon[6], rays, cells,
    )  # fmt: skip
    if n == 0 or rays[n - 1, 4] <= 0.0:
        return
    m, j = place(fine, rays, cells, n, photon, rng, at)
    scale = rays[n - 1, 4] / importance[cells[j, 0], cells[j, 1], cells[j, 2]]
    _free(g, t, m, photon, at, rng, es, ps, ps.shape[0], flags)
    got[0] += weights[0] * scale * (1.0 - flags[0])
    got[1] += weights[1] * scale * flags[1]


@njit(cache=True)
def _send(flags: np.ndarray, w0: float, w1: float, first: int, n_ps: int, pw: np.ndarray) -> None:
    """Weights of the photons that a collision has sent on."""
    for c in range(first, n_ps):
        pw[c, 0] = w0 * flags[0]
        pw[c, 1] = w1 * (1.0 - flags[1])


@njit(cache=True)
def _walk(
    g: Grid,
    fine: Grid,
    t: Tables,
    skins: np.ndarray,
    steps: float,
    even: np.ndarray,
    rng: np.ndarray,
    rays: np.ndarray,
    cells: np.ndarray,
    at: np.ndarray,
    es: np.ndarray,
    ps: np.ndarray,
    n_ps: int,
    pw: np.ndarray,
    flags: np.ndarray,
    photon: np.ndarray,
    weights: np.ndarray,
    got: np.ndarray,
) -> None:
    """Follow the waiting photons: each flight scores in the skin, then goes on as in nature."""
    while n_ps > 0:
        n_ps -= 1
        for c in range(7):
            photon[c] = ps[n_ps, c]
        weights[0] = pw[n_ps, 0]
        weights[1] = pw[n_ps, 1]
        if weights[0] <= 0.0 and weights[1] <= 0.0:
            continue
        k = int(math.log(steps / photon[0]) / _CLASS)
        k = min(max(k, 0), skins.shape[0] - 1)
        _skin(g, fine, t, skins[k], photon, weights, rng, rays, cells, at, es, ps, flags, got)
        n = pieces(
            fine, t, even, photon[0], photon[1], photon[2], photon[3],
            photon[4], photon[5], photon[6], rays, cells,
        )  # fmt: skip
        if n == 0 or rand(rng) >= rays[n - 1, 4]:
            continue
        m, _ = place(fine, rays, cells, n, photon, rng, at)
        first = n_ps
        n_ps = _free(g, t, m, photon, at, rng, es, ps, n_ps, flags)
        _send(flags, weights[0], weights[1], first, n_ps, pw)


@njit(cache=True, nogil=True)
def run_chunk(
    g: Grid,
    fine: Grid,
    t: Tables,
    first: np.ndarray,
    own: np.ndarray,
    skins: np.ndarray,
    steps: float,
    source: Source,
    rng: np.ndarray,
    histories: int,
    total: np.ndarray,
) -> None:
    """Follow ``histories`` source particles.

    Args:
        g: cells as the electrons see them.
        fine: the same, cut finer, as the photons see them.
        t: tables.
        first: importance of a source photon's collisions for what they send on, shape (nr, nz, 2),
            inward and outward; positive wherever there is material.
        own: importance of its collisions for the electrons they set free; 0 in cells that
            :mod:`.direct_kernel` scores, and where no electron reaches the gas.
        skins: the same for later photons, without those exceptions, shape (k, nr, nz, 2), k for
            classes of energy that fall from ``steps`` by e to the power of −1.
        steps: energy at the top of the first class.
        source: where the particles come from.
        rng: the chunk's stream.
        histories: how many.
        total: summed are counts, entries, counts², entries², histories.
    """
    rays = np.empty((_PIECES, 5))
    cells = np.empty((_PIECES, 3), np.int64)
    even = np.ones(first.shape)
    ps = np.empty((_PHOTONS, 7))
    pw = np.empty((_PHOTONS, 2))
    es = np.empty((_ELECTRONS, 7))
    at = np.empty(3)
    got = np.zeros(2)
    flags = np.zeros(2)
    weights = np.empty(2)
    photon = np.empty(7)
    shift = np.empty(4)
    for c in range(4):
        shift[c] = rand(rng)
    for k in range(histories):
        weight = start(source, shift, k, rng, photon)
        got[0] = 0.0
        got[1] = 0.0
        s = -1.0
        if weight > 0.0:
            s = entry(fine, photon[1], photon[2], photon[3], photon[4], photon[5], photon[6])
        if s >= 0.0:
            for c in range(3):
                photon[1 + c] += (s + 1e-9) * photon[4 + c]
            n_ps = 0
            flags[0] = 1.0
            flags[1] = 0.0
            w0 = weight
            if source.kind_of_particle == 1:
                for c in range(7):
                    es[0, c] = photon[c]
                n_ps = electrons(g, t, rng, es, 1, ps, 0, flags)
                got[0] = weight * (1.0 - flags[0])
                got[1] = weight * flags[1]
            else:
                weights[0] = weight
                weights[1] = weight
                _skin(g, fine, t, own, photon, weights, rng, rays, cells, at, es, ps, flags, got)
                n = pieces(
                    fine, t, first, photon[0], photon[1], photon[2], photon[3],
                    photon[4], photon[5], photon[6], rays, cells,
                )  # fmt: skip
                if n > 0 and rays[n - 1, 4] > 0.0:
                    m, j = place(fine, rays, cells, n, photon, rng, at)
                    w0 *= rays[n - 1, 4] / first[cells[j, 0], cells[j, 1], cells[j, 2]]
                    n_ps = _free(g, t, m, photon, at, rng, es, ps, 0, flags)
            _send(flags, w0, w0, 0, n_ps, pw)
            _walk(
                g, fine, t, skins, steps, even, rng, rays, cells, at, es, ps, n_ps, pw,
                flags, photon, weights, got,
            )  # fmt: skip
        total[0] += got[0]
        total[1] += got[1]
        total[2] += got[0] * got[0]
        total[3] += got[1] * got[1]
        total[4] += 1.0
