"""Places in a layer, by numba: what photons arrive there, and how an electron path lies in it."""

from __future__ import annotations

import math

import numpy as np
from numba import njit

from counterproof.physics.tube.electron_kernel import crossing, electrons, find, next_cell
from counterproof.physics.tube.layout import IONS, Grid, Tables
from counterproof.physics.tube.source_kernel import BEAM, ROTATION, Source
from counterproof.physics.tube.stream import rand

_GAS = 0
_TWO_PI = 6.283185307179586
FRAME = 23
"""Length of a row that :func:`lay` fills."""


@njit(cache=True)
def optical_depth(
    g: Grid, t: Tables, e: float, x: float, y: float, z: float, u: float, v: float, w: float
) -> float:
    """Optical depth from a point inside to the outside along (u, v, w)."""
    p = (math.log(e) - t.p_lo) * t.p_inv
    i = min(max(int(p), 0), t.photon.shape[1] - 2)
    f = p - i
    ir = find(g.r, math.sqrt(x * x + y * y))
    iz = find(g.z, z)
    nr = g.r.size - 1
    nz = g.z.size - 1
    tau = 0.0
    while 0 <= ir < nr and 0 <= iz < nz:
        d, side = crossing(g, ir, iz, x, y, z, u, v, w)
        m = g.material[ir, iz]
        if m >= 0:
            tau += d * (t.photon[m, i, 0] + f * (t.photon[m, i + 1, 0] - t.photon[m, i, 0]))
        x += u * d
        y += v * d
        z += w * d
        ir, iz = next_cell(side, ir, iz)
    return tau


@njit(cache=True)
def gas_chord(
    g: Grid, x: float, y: float, z: float, u: float, v: float, w: float, at: np.ndarray
) -> float:
    """Length in the gas from a point at its edge; ``at`` becomes where it leaves."""
    ir = find(g.r, math.sqrt((x + 1e-8 * u) ** 2 + (y + 1e-8 * v) ** 2))
    iz = find(g.z, z + 1e-8 * w)
    nr = g.r.size - 1
    nz = g.z.size - 1
    length = 0.0
    while 0 <= ir < nr and 0 <= iz < nz and g.material[ir, iz] == _GAS:
        d, side = crossing(g, ir, iz, x, y, z, u, v, w)
        length += d
        x += u * d
        y += v * d
        z += w * d
        ir, iz = next_cell(side, ir, iz)
    at[0] = x + 1e-8 * u
    at[1] = y + 1e-8 * v
    at[2] = z + 1e-8 * w
    return length


@njit(cache=True)
def ions_per_cm(t: Tables, e: float) -> float:
    """Primary ionisations per cm of gas by an electron of ``e`` keV."""
    p = (math.log(e) - t.e_lo) * t.e_inv
    i = min(max(int(p), 0), t.electron.shape[1] - 2)
    f = p - i
    low = t.electron[_GAS, i, IONS]
    return float(low + f * (t.electron[_GAS, i + 1, IONS] - low))


@njit(cache=True)
def photon_at(s: Source, x: float, y: float, z: float, rng: np.ndarray, way: np.ndarray) -> float:
    """Direction of the unscattered photons at a point and their fluence without attenuation."""
    if s.kind == BEAM or s.kind == ROTATION:
        angle = s.angle if s.kind == BEAM else 3.141592653589793 * rand(rng)
        way[0] = abs(math.sin(angle))
        way[1] = 0.0
        way[2] = -math.cos(angle)
        return 1.0
    a = s.radius * math.sqrt(rand(rng))
    phi = _TWO_PI * rand(rng)
    if s.end_on == 1:
        dx = x - s.x - a * math.cos(phi)
        dy = y - a * math.sin(phi)
        dz = z - s.z
    else:
        dx = x - s.x
        dy = y - a * math.cos(phi)
        dz = z - s.z - a * math.sin(phi)
    d2 = dx * dx + dy * dy + dz * dz
    d = math.sqrt(d2)
    way[0] = dx / d
    way[1] = dy / d
    way[2] = dz / d
    return 1.0 / (12.566370614359172 * d2)


@njit(cache=True)
def onward(
    g: Grid,
    t: Tables,
    rng: np.ndarray,
    e: float,
    x: float,
    y: float,
    z: float,
    u: float,
    v: float,
    w: float,
    es: np.ndarray,
    ps: np.ndarray,
    flags: np.ndarray,
) -> None:
    """Follow one electron by the general transport from here; ``flags`` says how it ends."""
    es[0, 0] = e
    es[0, 1] = x + 1e-8 * u
    es[0, 2] = y + 1e-8 * v
    es[0, 3] = z + 1e-8 * w
    es[0, 4] = u
    es[0, 5] = v
    es[0, 6] = w
    flags[0] = 1.0
    flags[1] = 0.0
    electrons(g, t, rng, es, 1, ps, ps.shape[0], flags)


@njit(cache=True)
def lay(
    source: Source,
    end: int,
    r_in: float,
    r_out: float,
    z_lo: float,
    z_hi: float,
    q1: float,
    q2: float,
    q3: float,
    rng: np.ndarray,
    way: np.ndarray,
    out: np.ndarray,
) -> None:
    """Choose a place in a cell and how a path lies there, by three numbers in 0 … 1.

    ``out``: place on the inner side (3); unit vector towards the gas (3); its components, and those
    of the direction around, in the path's frame (3 + 3); the frame's x and y (3 + 3) and the
    photons' direction (3); measure of the cell per depth; fluence without attenuation.
    """
    phi = _TWO_PI * q1
    cn = math.cos(phi)
    sn = math.sin(phi)
    if end == 0:
        rs = r_in
        zs = z_lo + q3 * (z_hi - z_lo)
        n0, n1, n2 = -cn, -sn, 0.0
        a0, a1, a2 = -sn, cn, 0.0
        measure = _TWO_PI * (z_hi - z_lo)
    else:
        rs = math.sqrt(r_in * r_in + q3 * (r_out * r_out - r_in * r_in))
        zs = z_lo if end > 0 else z_hi
        n0, n1, n2 = 0.0, 0.0, -1.0 * end
        a0, a1, a2 = cn, sn, 0.0
        measure = 3.141592653589793 * (r_out * r_out - r_in * r_in)
    x0 = rs * cn
    y0 = rs * sn
    fluence = photon_at(source, x0, y0, zs, rng, way)
    psi = _TWO_PI * q2
    cp = math.cos(psi)
    sp = math.sin(psi)
    rho = math.sqrt(way[0] * way[0] + way[1] * way[1])
    if rho > 1e-9:
        f0, f1, f2 = way[0] * way[2] / rho, way[1] * way[2] / rho, -rho
        h0, h1, h2 = -way[1] / rho, way[0] / rho, 0.0
    else:
        f0, f1, f2 = 1.0, 0.0, 0.0
        h0, h1, h2 = 0.0, 1.0 if way[2] > 0 else -1.0, 0.0
    ex0, ex1, ex2 = cp * f0 + sp * h0, cp * f1 + sp * h1, cp * f2 + sp * h2
    ey0, ey1, ey2 = -sp * f0 + cp * h0, -sp * f1 + cp * h1, -sp * f2 + cp * h2
    out[0], out[1], out[2] = x0, y0, zs
    out[3], out[4], out[5] = n0, n1, n2
    out[6] = n0 * ex0 + n1 * ex1 + n2 * ex2
    out[7] = n0 * ey0 + n1 * ey1 + n2 * ey2
    out[8] = n0 * way[0] + n1 * way[1] + n2 * way[2]
    out[9] = a0 * ex0 + a1 * ex1 + a2 * ex2
    out[10] = a0 * ey0 + a1 * ey1 + a2 * ey2
    out[11] = a0 * way[0] + a1 * way[1] + a2 * way[2]
    out[12], out[13], out[14] = ex0, ex1, ex2
    out[15], out[16], out[17] = ey0, ey1, ey2
    out[18], out[19], out[20] = way[0], way[1], way[2]
    out[21] = measure
    out[22] = fluence


@njit(cache=True)
def measure(
    fr: np.ndarray,
    nodes: np.ndarray,
    start: int,
    stop: int,
    end: int,
    r_in: float,
    r_out: float,
    thick: float,
    p: int,
    k: int,
    alive: np.ndarray,
    mine: np.ndarray,
    undecided: np.ndarray,
    so_far: np.ndarray,
    left: np.ndarray,
    last: np.ndarray,
) -> None:
    """Carry on: from which depths the path has reached the gas, and from which it is still inside.

    At a node with components ``pn`` towards the gas and ``pt`` around, an electron from depth d has
    reached the inner radius if ``d < pn − r_in + √(r_in² − pt²)``, and left the outer one if
    ``d > pn − r_in + √(r_out² − pt²)``.
    """
    a = alive[p]
    best = mine[p]
    nx, ny, nw = fr[6], fr[7], fr[8]
    ax, ay, aw = fr[9], fr[10], fr[11]
    ri2 = r_in * r_in
    ro2 = r_out * r_out
    for j in range(start, stop):
        px = nodes[j, 0]
        py = nodes[j, 1]
        pz = nodes[j, 2]
        pn = nx * px + ny * py + nw * pz
        if end == 0:
            pt = ax * px + ay * py + aw * pz
            p2 = pt * pt
            hit = pn - r_in + math.sqrt(ri2 - p2) if p2 < ri2 else -1.0
            out = pn - r_in + math.sqrt(ro2 - p2) if p2 < ro2 else -1.0
        else:
            hit = pn
            out = pn + thick
        a = min(a, out)
        best = max(best, min(hit, a))
        so_far[p, j] = best
        left[p, j] = a
        last[p, k] = j
        if a <= best:
            undecided[p] = False
            break
    alive[p] = a
    mine[p] = best
