"""Electrons that unscattered photons set free in a layer, and which of them count, by numba.

A place in the layer is an angle around the axis and a height; the photons' direction and
attenuation there are known. A path from :mod:`.path_kernel` laid there reaches the gas from every
depth less than the path's reach towards it, so one comparison per node integrates over the depth
exactly (in the curved wall too: the reach counts the bend). One depth in that interval is then
followed into the gas. One path serves many places.
"""

from __future__ import annotations

import math

import numpy as np
from numba import njit

from counterproof.physics.tube.electron_kernel import crossing, electrons, find
from counterproof.physics.tube.layout import IONS, Grid, Tables
from counterproof.physics.tube.path_kernel import NODES, PATHS, follow
from counterproof.physics.tube.photon_kernel import free_electrons
from counterproof.physics.tube.source_kernel import BEAM, ROTATION, Source
from counterproof.physics.tube.stream import rand

_GAS = 0
_AGAIN = 0.15  # share of crossings whose later fate is followed
_ASIDE = 0.1  # share of places where paths that leave the layer elsewhere are followed
_TWO_PI = 6.283185307179586


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
        if side == 0:
            ir -= 1
        elif side == 1:
            ir += 1
        elif side == 2:
            iz -= 1
        else:
            iz += 1
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
        if side == 0:
            ir -= 1
        elif side == 1:
            ir += 1
        elif side == 2:
            iz -= 1
        else:
            iz += 1
    at[0] = x + 1e-8 * u
    at[1] = y + 1e-8 * v
    at[2] = z + 1e-8 * w
    return length


@njit(cache=True)
def _ions_per_cm(t: Tables, e: float) -> float:
    p = (math.log(e) - t.e_lo) * t.e_inv
    i = min(max(int(p), 0), t.electron.shape[1] - 2)
    f = p - i
    return t.electron[_GAS, i, IONS] + f * (
        t.electron[_GAS, i + 1, IONS] - t.electron[_GAS, i, IONS]
    )


@njit(cache=True)
def _photon_at(s: Source, x: float, y: float, z: float, rng: np.ndarray, way: np.ndarray) -> float:
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
def _onward(
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


@njit(cache=True, nogil=True)
def run_direct(
    g: Grid,
    t: Tables,
    source: Source,
    ir: int,
    iz: int,
    end: int,
    favour: float,
    mean_recoil: float,
    rng: np.ndarray,
    paths: int,
    places: int,
    total: np.ndarray,
) -> None:
    """Score the electrons set free in one cell.

    Args:
        g: cells as the electrons see them.
        t: tables.
        source: of photons of one energy.
        ir: ring of the cell.
        iz: slice of the cell.
        end: 0 for a cell beside the gas, +1 or −1 for one above or below it.
        favour: see :func:`free_electrons`.
        mean_recoil: see :func:`free_electrons`.
        rng: the chunk's stream.
        paths: how many collisions.
        places: where each is laid.
        total: summed are counts, entries, their squares per path, paths; divide by the last.
    """
    m = g.material[ir, iz]
    e = source.energy[0]
    r_in = g.r[ir]
    r_out = g.r[ir + 1]
    z_lo = g.z[iz]
    z_hi = g.z[iz + 1]
    thick = r_out - r_in if end == 0 else z_hi - z_lo
    nodes = np.empty((NODES, 4))
    first = np.empty(PATHS + 1, np.int64)
    es = np.empty((96, 7))
    born = np.empty((PATHS, 7))
    ps = np.empty((1, 7))
    origin = np.zeros(3)
    at = np.zeros(3)
    way = np.empty(3)
    flags = np.empty(2)
    parent = np.empty(PATHS, np.int64)
    birth = np.empty(PATHS, np.int64)
    m_path = np.empty(PATHS)
    m_birth = np.empty(PATHS)
    last = np.empty(PATHS, np.int64)
    so_far = np.empty(NODES)
    left = np.empty(NODES)
    shift = np.empty(3)
    for c in range(3):
        shift[c] = rand(rng)
    below = ir - 1 if end == 0 else ir
    beyond = iz if end == 0 else iz - end
    to_gas = g.material[below, beyond] == _GAS
    k_place = 0
    for _ in range(paths):
        ne, mu = free_electrons(t, m, e, favour, mean_recoil, origin, rng, born, ps)
        got_c = 0.0
        got_e = 0.0
        np_ = 0
        if ne > 0:
            np_ = follow(t, m, rng, born, ne, nodes, first, parent, birth)
        for _p in range(places if np_ > 0 else 0):
            q1 = shift[0] + k_place * 0.8191725133961645
            q1 -= math.floor(q1)
            q2 = shift[1] + k_place * 0.6710436067037893
            q2 -= math.floor(q2)
            k_place += 1
            phi = _TWO_PI * q1
            if end == 0:
                rs = r_in
                zs = z_lo + q2 * (z_hi - z_lo)
                cn = math.cos(phi)
                sn = math.sin(phi)
                # axes: towards the gas, around, along
                n0, n1, n2 = -cn, -sn, 0.0
                a0, a1, a2 = -sn, cn, 0.0
                measure = _TWO_PI * (z_hi - z_lo)
            else:
                rs = math.sqrt(r_in * r_in + q2 * (r_out * r_out - r_in * r_in))
                zs = z_lo if end > 0 else z_hi
                cn = math.cos(phi)
                sn = math.sin(phi)
                n0, n1, n2 = 0.0, 0.0, -1.0 * end
                a0, a1, a2 = cn, sn, 0.0
                measure = 3.141592653589793 * (r_out * r_out - r_in * r_in)
            x0 = rs * cn
            y0 = rs * sn
            fluence = _photon_at(source, x0, y0, zs, rng, way)
            # the path's frame: photon along z, turned by a random angle about it
            psi = _TWO_PI * rand(rng)
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
            nx = n0 * ex0 + n1 * ex1 + n2 * ex2
            ny = n0 * ey0 + n1 * ey1 + n2 * ey2
            nw = n0 * way[0] + n1 * way[1] + n2 * way[2]
            ax = a0 * ex0 + a1 * ex1 + a2 * ex2
            ay = a0 * ey0 + a1 * ey1 + a2 * ey2
            aw = a0 * way[0] + a1 * way[1] + a2 * way[2]
            reach = 0.0
            for k in range(np_):
                alive = thick
                mine = 0.0
                if parent[k] >= 0:
                    # it exists only where its parent was still in the layer
                    if birth[k] > last[parent[k]]:
                        m_path[k] = 0.0
                        m_birth[k] = 0.0
                        last[k] = -1
                        continue
                    mine = so_far[birth[k]]
                    alive = left[birth[k]]
                m_birth[k] = mine
                last[k] = first[k + 1] - 1
                for j in range(first[k], first[k + 1]):
                    px = nodes[j, 0]
                    py = nodes[j, 1]
                    pz = nodes[j, 2]
                    pn = nx * px + ny * py + nw * pz
                    if end == 0:
                        pt = ax * px + ay * py + aw * pz
                        p2 = pt * pt
                        hit = -1.0
                        if p2 < r_in * r_in:
                            hit = pn - r_in + math.sqrt(r_in * r_in - p2)
                        out = -1.0
                        if p2 < r_out * r_out:
                            out = pn - r_in + math.sqrt(r_out * r_out - p2)
                    else:
                        hit = pn
                        out = pn + thick
                    if out < alive:
                        alive = out
                    if hit > alive:
                        hit = alive
                    if hit > mine:
                        mine = hit
                    so_far[j] = mine
                    left[j] = alive
                    if alive <= mine:
                        last[k] = j
                        break
                m_path[k] = mine
                if mine > reach:
                    reach = mine
            if reach > 0.0:
                d = rand(rng) * reach
                dark = 1.0
                hits = 0.0
                for k in range(np_):
                    if d >= m_path[k] or d < m_birth[k]:
                        continue
                    # the node at which this depth is reached, and the crossing before it
                    jj = -1
                    h_before = 0.0
                    h_at = 0.0
                    for j in range(first[k], first[k + 1]):
                        pn = nx * nodes[j, 0] + ny * nodes[j, 1] + nw * nodes[j, 2]
                        if end == 0:
                            pt = ax * nodes[j, 0] + ay * nodes[j, 1] + aw * nodes[j, 2]
                            p2 = pt * pt
                            hit = -1.0
                            if p2 < r_in * r_in:
                                hit = pn - r_in + math.sqrt(r_in * r_in - p2)
                        else:
                            hit = pn
                        if hit > d:
                            jj = j
                            h_at = hit
                            break
                        h_before = hit
                    if jj <= first[k]:
                        continue
                    share = (d - h_before) / max(h_at - h_before, 1e-300)
                    share = min(max(share, 0.0), 1.0)
                    i0 = jj - 1
                    px = nodes[i0, 0] + share * (nodes[jj, 0] - nodes[i0, 0])
                    py = nodes[i0, 1] + share * (nodes[jj, 1] - nodes[i0, 1])
                    pz = nodes[i0, 2] + share * (nodes[jj, 2] - nodes[i0, 2])
                    ee = nodes[i0, 3] + share * (nodes[jj, 3] - nodes[i0, 3])
                    if ee < t.cut:
                        continue
                    du = nodes[jj, 0] - nodes[i0, 0]
                    dv = nodes[jj, 1] - nodes[i0, 1]
                    dw = nodes[jj, 2] - nodes[i0, 2]
                    dl = math.sqrt(du * du + dv * dv + dw * dw)
                    du /= dl
                    dv /= dl
                    dw /= dl
                    x = x0 - n0 * d + px * ex0 + py * ey0 + pz * way[0]
                    y = y0 - n1 * d + px * ex1 + py * ey1 + pz * way[1]
                    z = zs - n2 * d + px * ex2 + py * ey2 + pz * way[2]
                    u = du * ex0 + dv * ey0 + dw * way[0]
                    v = du * ex1 + dv * ey1 + dw * way[1]
                    w = du * ex2 + dv * ey2 + dw * way[2]
                    inside = to_gas
                    if end == 0:
                        if z < z_lo or z > z_hi:
                            inside = False
                    elif x * x + y * y >= g.gas_r * g.gas_r:
                        inside = False
                    if inside:
                        hits = 1.0
                        if end == 0:
                            # on the inner wall exactly, so that no rounding finds the layer again
                            scale = r_in * (1.0 - 1e-9) / math.sqrt(x * x + y * y)
                            x *= scale
                            y *= scale
                        else:
                            z = zs - 1e-9 * end
                        length = gas_chord(g, x, y, z, u, v, w, at)
                        seen = math.exp(-length * _ions_per_cm(t, ee))
                        rest = 1.0
                        if rand(rng) < _AGAIN:
                            _onward(g, t, rng, ee, at[0], at[1], at[2], u, v, w, es, ps, flags)
                            rest = 1.0 - (1.0 - flags[0]) / _AGAIN
                        dark *= seen * rest
                    else:
                        _onward(g, t, rng, ee, x, y, z, u, v, w, es, ps, flags)
                        dark *= flags[0]
                        hits = max(hits, flags[1])
                if end == 0:
                    xs = x0 - n0 * d
                    ys = y0 - n1 * d
                    weight = measure * (r_in + d) * reach
                else:
                    xs = x0
                    ys = y0
                    weight = measure * reach
                tau = optical_depth(g, t, e, xs, ys, zs - n2 * d, -way[0], -way[1], -way[2])
                weight *= mu * fluence * math.exp(-tau) / places
                got_c += weight * (1.0 - dark)
                got_e += weight * hits
            # paths that leave the layer on its far side or past its rim
            if rand(rng) < _ASIDE:
                d = rand(rng) * thick
                if d >= reach:
                    for k in range(1):
                        lost = -1
                        for j in range(first[k] + 1, first[k + 1]):
                            px = nodes[j, 0]
                            py = nodes[j, 1]
                            pz = nodes[j, 2]
                            x = x0 - n0 * d + px * ex0 + py * ey0 + pz * way[0]
                            y = y0 - n1 * d + px * ex1 + py * ey1 + pz * way[1]
                            z = zs - n2 * d + px * ex2 + py * ey2 + pz * way[2]
                            r2 = x * x + y * y
                            if z < z_lo or z > z_hi or r2 > r_out * r_out or r2 < r_in * r_in:
                                lost = j
                                break
                        if lost < 0:
                            continue
                        ee = nodes[lost, 3]
                        if ee < t.cut:
                            continue
                        du = nodes[lost, 0] - nodes[lost - 1, 0]
                        dv = nodes[lost, 1] - nodes[lost - 1, 1]
                        dw = nodes[lost, 2] - nodes[lost - 1, 2]
                        dl = math.sqrt(du * du + dv * dv + dw * dw)
                        u = (du * ex0 + dv * ey0 + dw * way[0]) / dl
                        v = (du * ex1 + dv * ey1 + dw * way[1]) / dl
                        w = (du * ex2 + dv * ey2 + dw * way[2]) / dl
                        _onward(g, t, rng, ee, x, y, z, u, v, w, es, ps, flags)
                        if flags[1] > 0.0:
                            tau = optical_depth(
                                g, t, e, x0 - n0 * d, y0 - n1 * d, zs - n2 * d,
                                -way[0], -way[1], -way[2],
                            )  # fmt: skip
                            weight = measure * ((r_in + d) if end == 0 else 1.0) * thick / _ASIDE
                            weight *= mu * fluence * math.exp(-tau) / places
                            got_c += weight * (1.0 - flags[0])
                            got_e += weight * flags[1]
        total[0] += got_c
        total[1] += got_e
        total[2] += got_c * got_c
        total[3] += got_e * got_e
        total[4] += 1.0
