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

from counterproof.physics.tube.layout import Grid, Tables
from counterproof.physics.tube.path_kernel import NODES, PATHS, advance, begin, least_delta
from counterproof.physics.tube.photon_kernel import free_electrons
from counterproof.physics.tube.place_kernel import (
    FRAME,
    gas_chord,
    ions_per_cm,
    lay,
    measure,
    onward,
    optical_depth,
)
from counterproof.physics.tube.source_kernel import Source
from counterproof.physics.tube.stream import rand

_GAS = 0
_AGAIN = 0.05  # least share of crossings whose later fate is followed
_ASIDE = 0.05  # share of places where paths that leave the layer elsewhere are followed
_STRETCH = 24  # steps of a path between two looks at its places


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
    at = np.zeros(3)
    way = np.empty(3)
    flags = np.empty(2)
    state = np.empty(12)
    parent = np.empty(PATHS, np.int64)
    birth = np.empty(PATHS, np.int64)
    gone = np.empty(PATHS, np.int64)
    frame = np.empty((places, FRAME))
    reached = np.empty((places, PATHS))
    m_birth = np.empty((places, PATHS))
    last = np.empty((places, PATHS), np.int64)
    alive = np.empty(places)
    mine = np.empty(places)
    undecided = np.empty(places, np.bool_)
    so_far = np.empty((places, NODES))
    left = np.empty((places, NODES))
    shift = np.empty(3)
    for c in range(3):
        shift[c] = rand(rng)
    below = ir - 1 if end == 0 else ir
    beyond = iz if end == 0 else iz - end
    to_gas = g.material[below, beyond] == _GAS
    place = 0
    for _ in range(paths):
        at[:] = 0.0
        ne, mu = free_electrons(t, m, e, favour, mean_recoil, at, rng, born, ps)
        total[4] += 1.0
        if ne == 0:
            continue
        for p in range(places):
            q1 = shift[0] + place * 0.8191725133961645
            q2 = shift[1] + place * 0.6710436067037893
            q3 = shift[2] + place * 0.5497004779019703
            place += 1
            lay(
                source, end, r_in, r_out, z_lo, z_hi, q1 - math.floor(q1), q2 - math.floor(q2),
                q3 - math.floor(q3), rng, way, frame[p],
            )  # fmt: skip
        count = ne
        for c in range(ne):
            parent[c] = -1
        least = least_delta(t, born, ne)
        n = 0
        np_ = 0
        while np_ < count:
            k = np_
            np_ += 1
            first[k] = n
            going = False
            for p in range(places):
                mine[p] = 0.0
                alive[p] = thick
                undecided[p] = True
                if parent[k] >= 0:
                    # it exists only where its parent was still in the layer
                    undecided[p] = birth[k] <= last[p, parent[k]]
                    if undecided[p]:
                        mine[p] = so_far[p, birth[k]]
                        alive[p] = left[p, birth[k]]
                        undecided[p] = alive[p] > mine[p]
                m_birth[p, k] = mine[p]
                last[p, k] = -1
                going = going or undecided[p]
            if going and n < NODES - 3:
                begin(t, m, born[k], state)
                nodes[n, 0], nodes[n, 1], nodes[n, 2] = state[1], state[2], state[3]
                nodes[n, 3] = state[0]
                done = n
                n += 1
                while going:
                    n, count = advance(
                        t, m, rng, state, _STRETCH, nodes, n, born, count, least, k, parent, birth
                    )
                    going = False
                    for p in range(places):
                        if undecided[p]:
                            measure(
                                frame[p], nodes, done, n, end, r_in, r_out, thick, p, k, alive,
                                mine, undecided, so_far, left, last,
                            )  # fmt: skip
                            going = going or undecided[p]
                    done = n
                    if not state[0] >= t.cut:
                        break
            for p in range(places):
                reached[p, k] = mine[p]
        first[np_] = n
        got_c = 0.0
        got_e = 0.0
        for p in range(places):
            fr = frame[p]
            x0, y0, zs = fr[0], fr[1], fr[2]
            n0, n1, n2 = fr[3], fr[4], fr[5]
            nx, ny, nw = fr[6], fr[7], fr[8]
            ax, ay, aw = fr[9], fr[10], fr[11]
            ex0, ex1, ex2 = fr[12], fr[13], fr[14]
            ey0, ey1, ey2 = fr[15], fr[16], fr[17]
            way[0], way[1], way[2] = fr[18], fr[19], fr[20]
            extent, fluence = fr[21], fr[22]
            reach = 0.0
            for k in range(np_):
                reach = max(reach, reached[p, k])
            if reach > 0.0:
                d = rand(rng) * reach
                dark = 1.0
                hits = 0.0
                for k in range(np_):
                    if d >= reached[p, k] or d < m_birth[p, k]:
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
                        seen = math.exp(-length * ions_per_cm(t, ee))
                        rest = 1.0
                        again = min(max(0.5 * seen, _AGAIN), 1.0)
                        if rand(rng) < again:
                            onward(g, t, rng, ee, at[0], at[1], at[2], u, v, w, es, ps, flags)
                            rest = 1.0 - (1.0 - flags[0]) / again
                        dark *= seen * rest
                    else:
                        onward(g, t, rng, ee, x, y, z, u, v, w, es, ps, flags)
                        dark *= flags[0]
                        hits = max(hits, flags[1])
                if end == 0:
                    xs = x0 - n0 * d
                    ys = y0 - n1 * d
                    weight = extent * (r_in + d) * reach
                else:
                    xs = x0
                    ys = y0
                    weight = extent * reach
                tau = optical_depth(g, t, e, xs, ys, zs - n2 * d, -way[0], -way[1], -way[2])
                weight *= mu * fluence * math.exp(-tau) / places
                got_c += weight * (1.0 - dark)
                got_e += weight * hits
            # paths that leave the layer on its far side or past its rim
            if rand(rng) < _ASIDE:
                d = rand(rng) * thick
                if d >= reach:
                    dark = 1.0
                    hits = 0.0
                    for k in range(np_):
                        # gone: the node at which a path leaves; −1 for one that never begins,
                        # because its parent had left before
                        gone[k] = -1
                        if parent[k] >= 0 and birth[k] >= gone[parent[k]]:
                            continue
                        gone[k] = NODES
                        for j in range(first[k] + 1, first[k + 1]):
                            px = nodes[j, 0]
                            py = nodes[j, 1]
                            pz = nodes[j, 2]
                            x = x0 - n0 * d + px * ex0 + py * ey0 + pz * way[0]
                            y = y0 - n1 * d + px * ex1 + py * ey1 + pz * way[1]
                            z = zs - n2 * d + px * ex2 + py * ey2 + pz * way[2]
                            r2 = x * x + y * y
                            if z < z_lo or z > z_hi or r2 > r_out * r_out or r2 < r_in * r_in:
                                gone[k] = j
                                break
                        lost = gone[k]
                        if lost == NODES:
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
                        onward(g, t, rng, ee, x, y, z, u, v, w, es, ps, flags)
                        dark *= flags[0]
                        hits = max(hits, flags[1])
                    if hits > 0.0:
                        tau = optical_depth(
                            g, t, e, x0 - n0 * d, y0 - n1 * d, zs - n2 * d,
                            -way[0], -way[1], -way[2],
                        )  # fmt: skip
                        weight = extent * ((r_in + d) if end == 0 else 1.0) * thick / _ASIDE
                        weight *= mu * fluence * math.exp(-tau) / places
                        got_c += weight * (1.0 - dark)
                        got_e += weight * hits
        total[0] += got_c
        total[1] += got_e
        total[2] += got_c * got_c
        total[3] += got_e * got_e
