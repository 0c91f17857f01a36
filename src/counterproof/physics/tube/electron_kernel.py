"""Transport of electrons by numba: mixed simulation with a random hinge.

Elastic collisions above a cut-off angle are simulated one by one, those below it as one small
deflection at a random point of the step (Salvat, Fernández-Varea & Sempau, PENELOPE-2008, OECD/NEA
2009, chapter 4); hard collisions with atomic electrons after Møller, hard bremsstrahlung singly,
the rest as continuous loss. Energies in keV, lengths in cm.
"""

from __future__ import annotations

import math

import numpy as np
from numba import njit

from counterproof.physics.tube.layout import (
    BREMS,
    ELASTIC,
    G_SOFT,
    IONS,
    MC2,
    MOLLER,
    MU_CUT,
    RANGE,
    SCREEN,
    SOFT_LOSS,
    Grid,
    Tables,
)
from counterproof.physics.tube.stream import rand

_MAX_STACK = 64
_VOID = -1
_GAS = 0


@njit(cache=True, inline="always")
def turned(u: float, v: float, w: float, cos: float, phi: float) -> tuple[float, float, float]:
    """Direction (u, v, w) turned by the polar angle with cosine ``cos`` and azimuth ``phi``."""
    sin = math.sqrt(max(0.0, 1.0 - cos * cos))
    a = sin * math.cos(phi)
    b = sin * math.sin(phi)
    rho2 = u * u + v * v
    if rho2 < 1e-12:
        return a, (b if w > 0 else -b), (cos if w > 0 else -cos)
    rho = math.sqrt(rho2)
    return (
        u * cos + (u * w * a - v * b) / rho,
        v * cos + (v * w * a + u * b) / rho,
        w * cos - rho * a,
    )


@njit(cache=True, inline="always")
def find(edges: np.ndarray, value: float) -> int:
    """Index of the interval of ``edges`` that holds ``value``; −1 or len−1 outside."""
    i = 0
    n = edges.size
    while i < n and edges[i] <= value:
        i += 1
    return i - 1


@njit(cache=True)
def crossing(
    g: Grid, ir: int, iz: int, x: float, y: float, z: float, u: float, v: float, w: float
) -> tuple[float, int]:
    """Distance along the ray to the wall of cell (ir, iz), and which: 0 r−, 1 r+, 2 z−, 3 z+."""
    best = 1e30
    side = -1
    if w > 0.0:
        best = (g.z[iz + 1] - z) / w
        side = 3
    elif w < 0.0:
        best = (g.z[iz] - z) / w
        side = 2
    a = u * u + v * v
    if a > 1e-14:
        b = x * u + y * v
        r2 = x * x + y * y
        inner = False
        if b < 0.0 and ir > 0:
            c = r2 - g.r[ir] * g.r[ir]
            d = b * b - a * c
            if d > 0.0:
                t = (-b - math.sqrt(d)) / a
                inner = True
                if t < best:
                    best = t
                    side = 0
        if not inner:
            c = r2 - g.r[ir + 1] * g.r[ir + 1]
            d = b * b - a * c
            t = (-b + math.sqrt(max(d, 0.0))) / a
            if t < best:
                best = t
                side = 1
    return max(best, 0.0), side


@njit(cache=True, inline="always")
def next_cell(side: int, ir: int, iz: int) -> tuple[int, int]:
    """The cell beyond a wall as :func:`crossing` names it."""
    if side == 0:
        ir -= 1
    elif side == 1:
        ir += 1
    elif side == 2:
        iz -= 1
    else:
        iz += 1
    return ir, iz


@njit(cache=True, inline="always")
def rates(lo: np.ndarray, hi: np.ndarray, f: float) -> tuple[float, float, float, float]:
    """Soft loss (keV/cm); hard elastic, Møller and bremsstrahlung collisions per cm."""
    return (
        lo[SOFT_LOSS] + f * (hi[SOFT_LOSS] - lo[SOFT_LOSS]),
        lo[ELASTIC] + f * (hi[ELASTIC] - lo[ELASTIC]),
        lo[MOLLER] + f * (hi[MOLLER] - lo[MOLLER]),
        lo[BREMS] + f * (hi[BREMS] - lo[BREMS]),
    )


@njit(cache=True, inline="always")
def elastic_cosine(lo: np.ndarray, hi: np.ndarray, f: float, rng: np.ndarray) -> float:
    """Screened Rutherford scattering above the cut-off angle, by inversion; mu = (1 − cos θ)/2."""
    a = lo[SCREEN] + f * (hi[SCREEN] - lo[SCREEN])
    c = lo[MU_CUT] + f * (hi[MU_CUT] - lo[MU_CUT])
    q = rand(rng)
    return 1.0 - 2.0 * (1.0 / (q / (c + a) + (1.0 - q) / (1.0 + a)) - a)


@njit(cache=True, inline="always")
def moller_cosines(e: float, share: float) -> tuple[float, float]:
    """Cosines of primary and secondary of a collision that gives away a share of ``e`` keV."""
    given = share * e
    left = e - given
    return (
        min(math.sqrt(left / e * (e + 2.0 * MC2) / (left + 2.0 * MC2)), 1.0),
        min(math.sqrt(share * (e + 2.0 * MC2) / (given + 2.0 * MC2)), 1.0),
    )


@njit(cache=True, inline="always")
def depth_below_gas(g: Grid, ir: int, iz: int, r: float, z: float) -> float:
    """Distance inside the cell's own layer towards the gas (a lower bound of any path)."""
    d = 0.0
    if r > g.gas_r:
        d = r - g.r[ir]
    elif r < g.anode_r:
        d = g.anode_r - r
    if z > g.gas_z:
        d = max(d, z - g.z[iz])
    elif z < -g.gas_z:
        d = max(d, g.z[iz + 1] - z)
    return d


@njit(cache=True, inline="always")
def table_range(t: Tables, m: int, e: float) -> float:
    """CSDA range (cm) in material ``m`` at ``e`` keV."""
    p = (math.log(e) - t.e_lo) * t.e_inv
    i = int(p)
    if i < 0:
        return 0.0
    i = min(i, t.electron.shape[1] - 2)
    f = p - i
    return t.electron[m, i, RANGE] + f * (t.electron[m, i + 1, RANGE] - t.electron[m, i, RANGE])


@njit(cache=True)
def moller_share(e: float, kc: float, rng: np.ndarray) -> float:
    """Share of the energy ``e`` that a Møller collision above the share ``kc`` gives away."""
    b = (e / (e + MC2)) ** 2
    while True:
        q = (1.0 + 2.5 * b * kc) * rand(rng)
        if q < 1.0:
            k = kc / (1.0 - q * (1.0 - 2.0 * kc))
        else:
            k = kc + (q - 1.0) * (1.0 - 2.0 * kc) / (5.0 * b * kc)
        k2 = k * k
        phi = k2 / (1.0 - k) ** 2 - k / (1.0 - k) + b * (k2 + k / (1.0 - k)) + 1.0
        if rand(rng) * (1.0 + 5.0 * b * k2) < phi:
            return k


@njit(cache=True)
def brems_share(kc: float, rng: np.ndarray) -> float:
    """Share of the energy radiated above ``kc``: density ∝ (1 − k + ¾k²)/k."""
    while True:
        k = kc ** rand(rng)
        if rand(rng) < 1.0 - k + 0.75 * k * k:
            return float(k)


@njit(cache=True)
def hopeless(g: Grid, t: Tables, ir: int, iz: int, r: float, z: float, e: float) -> bool:
    """Whether an electron of ``e`` keV cannot reach the gas from here even on a straight line."""
    m = g.material[ir, iz]
    if m <= _GAS:
        return False
    need = g.reach[ir, iz]
    left = table_range(t, m, e) - depth_below_gas(g, ir, iz, r, z)
    if left <= 0.0:
        return True
    return need > 1.0 and left < table_range(t, m, need)


@njit(cache=True)
def electrons(
    g: Grid,
    t: Tables,
    rng: np.ndarray,
    stack: np.ndarray,
    n: int,
    photons: np.ndarray,
    n_photons: int,
    out: np.ndarray,
) -> int:
    """Follow the ``n`` electrons in ``stack`` and all they set free.

    Args:
        g: the geometry.
        t: tables of the materials.
        rng: stream.
        stack: electrons as rows ``energy, x, y, z, u, v, w``; used up.
        n: how many there are.
        photons: bremsstrahlung photons are appended as rows ``energy, x, y, z, u, v, w, …``.
        n_photons: how many rows are taken.
        out: ``out[0]`` becomes the probability that none of the electrons ionised the gas, given
            their paths; ``out[1]`` 1.0 if one of them entered or started in the gas, else 0.0.

    Returns:
        the number of rows taken in ``photons``.
    """
    dark = out[0]
    entered = out[1]
    table = t.electron
    top = table.shape[1] - 2
    while n > 0:
        n -= 1
        e = stack[n, 0]
        x = stack[n, 1]
        y = stack[n, 2]
        z = stack[n, 3]
        u = stack[n, 4]
        v = stack[n, 5]
        w = stack[n, 6]
        ir = find(g.r, math.sqrt(x * x + y * y))
        iz = find(g.z, z)
        nr = g.r.size - 1
        nz = g.z.size - 1
        alive = ir >= 0 and ir < nr and iz >= 0 and iz < nz
        while alive:
            m = g.material[ir, iz]
            if m == _VOID:
                d, side = crossing(g, ir, iz, x, y, z, u, v, w)
                x += u * d
                y += v * d
                z += w * d
                ir, iz = next_cell(side, ir, iz)
                if ir >= nr or iz < 0 or iz >= nz:
                    break
                continue
            if not e >= t.cut:
                break
            if m == _GAS:
                entered = 1.0
            p = (math.log(e) - t.e_lo) * t.e_inv
            i = int(p)
            if i > top:
                i = top
            f = p - i
            r = math.sqrt(x * x + y * y)
            near = 1e30
            if m != _GAS:
                near = depth_below_gas(g, ir, iz, r, z)
                left = table[m, i, RANGE] + f * (table[m, i + 1, RANGE] - table[m, i, RANGE]) - near
                if left <= 0.0:
                    break
                need = g.reach[ir, iz]
                if need > 1.0 and left < table_range(t, m, need):
                    break
            lo = table[m, i]
            hi = table[m, i + 1]
            loss, s_el, s_mo, s_br = rates(lo, hi, f)
            total = s_el + s_mo + s_br
            step = -math.log(rand(rng)) / total
            longest = t.max_loss * e / loss
            hard = True
            if step > longest:
                step = longest
                hard = False
            first = rand(rng) * step
            crossed = False
            for leg in range(2):
                d = first if leg == 0 else step - first
                # a cheap lower bound first, the exact distance to the cell's wall only when near
                room = min(r - g.r[ir] if ir > 0 else 1e30, g.r[ir + 1] - r)
                room = min(room, z - g.z[iz], g.z[iz + 1] - z)
                if d >= room:
                    wall, side = crossing(g, ir, iz, x, y, z, u, v, w)
                    if d >= wall:
                        d = wall
                        crossed = True
                x += u * d
                y += v * d
                z += w * d
                e -= loss * d
                if m == _GAS:
                    dark *= math.exp(-d * (lo[IONS] + f * (hi[IONS] - lo[IONS])))
                if crossed:
                    ir, iz = next_cell(side, ir, iz)
                    break
                if leg == 0:
                    g1 = (lo[G_SOFT] + f * (hi[G_SOFT] - lo[G_SOFT])) * step
                    cos = 1.0 + g1 * math.log(rand(rng))
                    if cos < -1.0:
                        cos = -1.0
                    u, v, w = turned(u, v, w, cos, 6.283185307179586 * rand(rng))
                    r = math.sqrt(x * x + y * y)
            if dark < 0.25:
                # Russian roulette on what is left to learn
                if dark < 0.25 * rand(rng):
                    dark = 0.0
                    n = 0
                    break
                dark = 0.25 if dark > 0.0 else 0.0
            if crossed:
                if ir >= nr or iz < 0 or iz >= nz:
                    break
                continue
            if not hard or e < t.cut:
                continue
            pick = rand(rng) * total
            if pick < s_el:
                cos = elastic_cosine(lo, hi, f, rng)
                u, v, w = turned(u, v, w, cos, 6.283185307179586 * rand(rng))
            elif pick < s_el + s_mo:
                kc = max(t.moller_cut, t.moller_fraction * e) / e
                if kc >= 0.5:
                    continue
                k = moller_share(e, kc, rng)
                loss_k = k * e
                cp, cd = moller_cosines(e, k)
                phi = 6.283185307179586 * rand(rng)
                if loss_k > t.cut and n < _MAX_STACK:  # noqa: SIM102  the second test is dear
                    if m == _GAS or not hopeless(g, t, ir, iz, math.sqrt(x * x + y * y), z, loss_k):
                        du, dv, dw = turned(u, v, w, cd, phi + 3.141592653589793)
                        stack[n, 0] = loss_k
                        stack[n, 1] = x
                        stack[n, 2] = y
                        stack[n, 3] = z
                        stack[n, 4] = du
                        stack[n, 5] = dv
                        stack[n, 6] = dw
                        n += 1
                u, v, w = turned(u, v, w, cp, phi)
                e -= loss_k
            else:
                kc = max(t.brems_cut, t.brems_fraction * e) / e
                if kc >= 1.0:
                    continue
                k = brems_share(kc, rng)
                if n_photons < photons.shape[0] and t.follow_brems > 0.0:
                    beta = math.sqrt(e * (e + 2.0 * MC2)) / (e + MC2)
                    q = 2.0 * rand(rng) - 1.0
                    cos = (q + beta) / (1.0 + q * beta)
                    pu, pv, pw = turned(u, v, w, cos, 6.283185307179586 * rand(rng))
                    photons[n_photons, 0] = k * e
                    photons[n_photons, 1] = x
                    photons[n_photons, 2] = y
                    photons[n_photons, 3] = z
                    photons[n_photons, 4] = pu
                    photons[n_photons, 5] = pv
                    photons[n_photons, 6] = pw
                    n_photons += 1
                e -= k * e
    out[0] = dark
    out[1] = entered
    return n_photons
