"""Finer cells for photons, and first guesses of where collisions matter.

Where electrons can still reach the gas, layers are cut by their depth in shares of the electron's
range; deeper, by optical thickness. The first importance falls with depth; a pilot run replaces it
by the root mean square score of each cell.
"""

from __future__ import annotations

import math
from itertools import pairwise

import numpy as np
from numpy.typing import NDArray

from counterproof.physics.tube import layout as lay
from counterproof.physics.tube.layout import GAS, VOID, Array, Grid, Tables

_CUTS = (0.003, 0.015, 0.04, 0.1, 0.18, 0.28, 0.4, 0.55, 0.75, 1.0)


def _column(t: Tables, m: int, column: int) -> tuple[Array, Array]:
    n = t.electron.shape[1]
    energy = np.exp(t.e_lo + np.arange(n) / t.e_inv)
    return energy, t.electron[m, :, column]


def electron_range(t: Tables, m: int, energy: float) -> float:
    """CSDA range in cm; 0 for an energy of 0."""
    if energy <= 0.0:
        return 0.0
    e, r = _column(t, m, lay.RANGE)
    return float(np.interp(math.log(energy), np.log(e), r))


def energy_of_range(t: Tables, m: int, length: float) -> float:
    """Energy of an electron with that CSDA range; beyond the table its end."""
    e, r = _column(t, m, lay.RANGE)
    if length <= r[0]:
        return 0.0
    return float(np.exp(np.interp(length, r, np.log(e))))


def _chain(t: Tables, layers: list[tuple[int, float]]) -> list[float]:
    """Energies needed at the inner wall of each layer, the layers listed from the gas outwards."""
    need = [0.0]
    for m, thickness in layers[:-1]:
        before = need[-1]
        if m in (GAS, VOID):
            need.append(before)
        else:
            need.append(energy_of_range(t, m, electron_range(t, m, before) + thickness))
    return need


def with_reach(g: Grid, t: Tables) -> Grid:
    """Fill in what electrons need to reach the gas."""
    reach = np.zeros(g.material.shape)
    nr, nz = g.material.shape
    for k in range(nz):
        if g.z[k] >= g.gas_z - 1e-12 or g.z[k + 1] <= -g.gas_z + 1e-12:
            continue
        rows = [i for i in range(nr) if g.r[i] >= g.gas_r - 1e-12]
        layers = [(int(g.material[i, k]), float(g.r[i + 1] - g.r[i])) for i in rows]
        for i, need in zip(rows, _chain(t, layers) if layers else [], strict=True):
            reach[i, k] = need
    for i in range(nr):
        if g.r[i] >= g.gas_r - 1e-12:
            continue
        up = [k for k in range(nz) if g.z[k] >= g.gas_z - 1e-12]
        down = [k for k in reversed(range(nz)) if g.z[k + 1] <= -g.gas_z + 1e-12]
        for rows in (up, down):
            layers = [(int(g.material[i, k]), float(g.z[k + 1] - g.z[k])) for k in rows]
            for k, need in zip(rows, _chain(t, layers) if layers else [], strict=True):
                reach[i, k] = need
    return g._replace(reach=reach)


def _cut(t: Tables, m: int, thickness: float, need: float, energy: float) -> list[float]:
    """Depths at which a layer is cut, from its inner wall."""
    if m == VOID:
        return []
    if m == GAS:
        return []
    within = electron_range(t, m, energy) - electron_range(t, m, need)
    depths: list[float] = []
    if within > 0.0:
        reachable = min(within, thickness)
        depths = [f * reachable for f in _CUTS]
    p = (math.log(energy) - t.p_lo) * t.p_inv
    mu = t.photon[m, int(p), 0]
    start = depths[-1] if depths else 0.0
    rest = thickness - start
    if rest > 0.02 * thickness:
        n = min(8, max(2, round(mu * rest * 1.5)))
        depths += [start + rest * (j / n) for j in range(1, n)]
    return [d for d in depths if 0.0 < d < thickness * (1.0 - 1e-9)]


def fine(g: Grid, t: Tables, energy: float) -> tuple[Grid, Array, Array]:
    """Cells for photons that start with ``energy``, their first importance, and later photons'."""
    radii = set(g.r.tolist())
    planes = set(g.z.tolist())
    middle = int(np.searchsorted(g.z, 0.0) - 1)
    ring = int(np.searchsorted(g.r, 0.5 * (g.gas_r + g.anode_r)) - 1)
    for i, (a, b) in enumerate(pairwise(g.r)):
        if a < g.gas_r - 1e-12:
            continue
        column = max(range(g.z.size - 1), key=lambda k: int(g.material[i, k]) * 0 + _solid(g, i, k))
        k = middle if g.material[i, middle] >= 0 else column
        m = int(g.material[i, k])
        radii |= {a + d for d in _cut(t, m, b - a, float(g.reach[i, k]), energy)}
    for k, (a, b) in enumerate(pairwise(g.z)):
        m = int(g.material[ring, k])
        if a >= g.gas_z - 1e-12:
            planes |= {a + d for d in _cut(t, m, b - a, float(g.reach[ring, k]), energy)}
        elif b <= -g.gas_z + 1e-12:
            planes |= {b - d for d in _cut(t, m, b - a, float(g.reach[ring, k]), energy)}
    r = np.array(sorted(radii))
    z = np.array(sorted(planes))
    ri = np.clip(np.searchsorted(g.r, 0.5 * (r[1:] + r[:-1])) - 1, 0, g.r.size - 2)
    zi = np.clip(np.searchsorted(g.z, 0.5 * (z[1:] + z[:-1])) - 1, 0, g.z.size - 2)
    material = np.ascontiguousarray(g.material[np.ix_(ri, zi)])
    reach = np.ascontiguousarray(g.reach[np.ix_(ri, zi)])
    cells = Grid(r, z, material, reach, g.gas_r, g.gas_z, g.anode_r)
    first = _first_guess(g, cells, ri, zi, t, energy)
    # fluorescence photons are slow: only what lies near the gas matters to them
    later = first.copy()
    for line in _lines(t, energy):
        later = np.maximum(later, _first_guess(g, cells, ri, zi, t, line))
    return cells, first, later


def _lines(t: Tables, energy: float) -> list[float]:
    """Energies of the stronger K lines that ``energy`` can excite, a decade apart at most."""
    edges = t.atom[1:, :, lay.B_K].ravel()
    lines = t.atom[1:, :, lay.LINE_B].ravel()
    return sorted(
        {round(float(e)) for b, e in zip(edges, lines, strict=True) if e > 3.0 and b < energy}
    )


def _solid(g: Grid, i: int, k: int) -> int:
    return 1 if g.material[i, k] >= 0 else 0


def _first_guess(
    g: Grid,
    cells: Grid,
    ri: NDArray[np.int64],
    zi: NDArray[np.int64],
    t: Tables,
    energy: float,
) -> Array:
    rm = 0.5 * (cells.r[1:] + cells.r[:-1])
    zm = 0.5 * (cells.z[1:] + cells.z[:-1])
    out = np.full((*cells.material.shape, 2), 1e-3)
    ranges = [electron_range(t, m, energy) for m in range(t.electron.shape[0])]
    for i in range(rm.size):
        for k in range(zm.size):
            m = int(cells.material[i, k])
            if m == VOID:
                continue
            if m == GAS:
                out[i, k] = 1.0
                continue
            depth = max(rm[i] - g.r[ri[i]] if rm[i] > g.gas_r else 0.0, 0.0)
            if abs(zm[k]) > g.gas_z:
                inner = g.z[zi[k]] if zm[k] > 0 else -g.z[zi[k] + 1]
                depth = max(depth, abs(zm[k]) - inner)
            if rm[i] < g.anode_r:
                depth = g.anode_r - rm[i]
            need = electron_range(t, m, float(cells.reach[i, k]))
            x = (depth + need) / ranges[m]
            value = (1.0 - x) ** 2 if x < 1.0 else 0.0
            out[i, k] = 0.5 * value + 0.03
            out[i, k, 0] += 0.2 * value
    return out


def learned(first: Array, learn: Array, share: float) -> Array:
    """Importance from a pilot run: root mean square score per cell, mixed with the first guess."""
    n = learn[..., 0]
    mean = np.sqrt(np.divide(learn[..., 1], n, out=np.zeros_like(n), where=n > 0))
    if mean.max() <= 0.0:
        return first
    # a cell seen k times trusts its own score k parts in k + 8
    trust = n / (n + 8.0)
    scale = (mean * n).sum() / max((first * n).sum(), 1e-300)
    mixed = trust * mean + (1.0 - trust) * first * scale
    return np.asarray(np.maximum(mixed, share * mixed.max()))
