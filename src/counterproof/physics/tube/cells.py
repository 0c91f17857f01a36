"""Finer cells for photons, and where their collisions matter.

Where electrons can still reach the gas, layers are cut by their depth in shares of the electron's
range, for several energies; deeper, by optical thickness. The importances are guesses of how well
what a collision sets free reaches the gas: they steer the work and leave the mean as it is.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from itertools import pairwise

import numpy as np
from numpy.typing import NDArray

from counterproof.physics.tube import layout as lay
from counterproof.physics.tube.layout import GAS, VOID, Array, Grid, Tables
from counterproof.physics.tube.tables import E_HIGH, E_LOW, E_POINTS

_CUTS = (0.05, 0.15, 0.3, 0.55, 1.0)
_LOWEST_KEV = 8.0


_LN_E: Array = np.linspace(math.log(E_LOW), math.log(E_HIGH), E_POINTS)


def electron_range(t: Tables, m: int, energy: float) -> float:
    """CSDA range in cm; 0 for an energy of 0."""
    if energy <= 0.0:
        return 0.0
    return float(np.interp(math.log(energy), _LN_E, t.electron[m, :, lay.RANGE]))


def energy_of_range(t: Tables, m: int, length: float) -> float:
    """Energy of an electron with that CSDA range; beyond the table its end."""
    r = t.electron[m, :, lay.RANGE]
    if length <= r[0]:
        return 0.0
    return math.exp(float(np.interp(length, r, _LN_E)))


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


@dataclass(frozen=True)
class Fine:
    """Cells for photons of a source of one energy, with their importances (nr, nz, 2).

    Args:
        cells: the grid.
        ring: ring of the coarse grid of each ring.
        slice: slice of the coarse grid of each slice.
        first: for the photons that a source photon's collision sends on.
        skins: for electrons of photons by classes of energy, (k, nr, nz, 2); class k reaches down
            from the source's energy times exp(−k).
    """

    cells: Grid
    ring: NDArray[np.int64]
    slice: NDArray[np.int64]
    first: Array
    skins: Array


def _energies(energy: float) -> list[float]:
    k = max(1, math.ceil(math.log(energy / _LOWEST_KEV)))
    return [energy * math.exp(-j) for j in range(k)]


def _coefficient(t: Tables, m: int, energy: float) -> float:
    return float(t.photon[m, int((math.log(energy) - t.p_lo) * t.p_inv), lay.TOTAL])


def _cut(t: Tables, m: int, thickness: float, need: float, energy: float) -> list[float]:
    """Depths at which a layer is cut, from its inner wall."""
    if m in (GAS, VOID):
        return []
    depths: list[float] = []
    for e in _energies(energy):
        within = electron_range(t, m, e) - electron_range(t, m, need)
        if within > 0.0:
            depths += [share * min(within, thickness) for share in _CUTS]
    start = max(depths, default=0.0)
    rest = thickness - start
    if rest > 0.02 * thickness:
        n = min(8, max(2, round(_coefficient(t, m, energy) * rest * 1.5)))
        depths += [start + rest * (j / n) for j in range(1, n)]
    return [d for d in depths if 0.0 < d < thickness * (1.0 - 1e-9)]


def fine(g: Grid, t: Tables, energy: float) -> Fine:
    """Cells for photons that start with ``energy`` keV."""
    radii = set(g.r.tolist())
    planes = set(g.z.tolist())
    ring = int(np.searchsorted(g.r, 0.5 * (g.gas_r + g.anode_r)) - 1)
    for i, (a, b) in enumerate(pairwise(g.r)):
        if a < g.gas_r - 1e-12:
            continue
        # a layer may be open at some heights: the slice that is solid and longest stands for it
        k = int(np.argmax((g.material[i] >= 0) * np.diff(g.z)))
        m = int(g.material[i, k])
        radii |= {a + d for d in _cut(t, m, b - a, float(g.reach[i, k]), energy)}
    for k, (a, b) in enumerate(pairwise(g.z)):
        m = int(g.material[ring, k])
        if a >= g.gas_z - 1e-12:
            planes |= {a + d for d in _cut(t, m, b - a, float(g.reach[ring, k]), energy)}
        elif b <= -g.gas_z + 1e-12:
            planes |= {b - d for d in _cut(t, m, b - a, float(g.reach[ring, k]), energy)}
    r, z = _apart(radii), _apart(planes)
    ri = np.clip(np.searchsorted(g.r, 0.5 * (r[1:] + r[:-1])) - 1, 0, g.r.size - 2)
    zi = np.clip(np.searchsorted(g.z, 0.5 * (z[1:] + z[:-1])) - 1, 0, g.z.size - 2)
    pick = np.ix_(ri, zi)
    cells = Grid(
        r, z, np.ascontiguousarray(g.material[pick]), np.ascontiguousarray(g.reach[pick]),
        g.gas_r, g.gas_z, g.anode_r,
    )  # fmt: skip
    depth_in, depth_mid = _depths(g, cells, ri, zi)
    skins = np.array([_skin(g, cells, t, pick, depth_in, depth_mid, e) for e in _energies(energy)])
    return Fine(cells, ri, zi, _shielded(cells, t, energy), skins)


def _apart(values: set[float]) -> Array:
    at = np.array(sorted(values))
    return np.asarray(at[np.concatenate([[True], np.diff(at) > 1e-9])])


def _depths(
    g: Grid, cells: Grid, ri: NDArray[np.int64], zi: NDArray[np.int64]
) -> tuple[Array, Array]:
    """Least and middle depth of each fine cell below its own layer's wall towards the gas."""
    out = []
    rm, zm = 0.5 * (cells.r[1:] + cells.r[:-1]), 0.5 * (cells.z[1:] + cells.z[:-1])
    for place in ("edge", "middle"):
        r = rm if place == "middle" else np.where(rm < g.anode_r, cells.r[1:], cells.r[:-1])
        z = np.abs(zm)
        if place == "edge":
            z = np.minimum(np.abs(cells.z[1:]), np.abs(cells.z[:-1]))
        beside = np.where(rm > g.gas_r, r - g.r[ri], np.where(rm < g.anode_r, g.anode_r - r, 0.0))
        inner = np.minimum(np.abs(g.z[zi]), np.abs(g.z[zi + 1]))
        above = np.where(np.abs(zm) > g.gas_z, z - inner, 0.0)
        out.append(np.maximum(beside[:, None], above[None, :]))
    return out[0], out[1]


def _skin(
    g: Grid,
    cells: Grid,
    t: Tables,
    pick: tuple[NDArray[np.int64], ...],
    depth_in: Array,
    depth_mid: Array,
    energy: float,
) -> Array:
    """Importance for electrons of photons of ``energy``: 0 where none reaches the gas."""
    need = np.zeros(g.material.shape)
    longest = np.ones(g.material.shape)
    for m in range(GAS + 1, t.electron.shape[0]):
        here = g.material == m
        longest[here] = electron_range(t, m, energy)
        for reach in np.unique(g.reach[here]):
            need[here & (g.reach == reach)] = electron_range(t, m, float(reach))
    x = (depth_mid + need[pick]) / longest[pick]
    value = np.maximum(1.0 - x, 0.0) ** 2 + 0.02
    value = np.where((depth_in + need[pick]) / longest[pick] < 1.0, value, 0.0)
    out = np.stack([0.7 * value, 0.4 * value], axis=-1)
    out[cells.material == GAS] = 1.0
    out[cells.material == VOID] = 0.0
    return np.ascontiguousarray(out)


def _shielded(cells: Grid, t: Tables, energy: float) -> Array:
    """Importance for photons that a collision sends on: what lies between cell and gas."""
    mu = np.array([_coefficient(t, m, energy) for m in range(t.photon.shape[0])])
    of = np.where(cells.material >= 0, mu[np.maximum(cells.material, 0)], 0.0)
    rm, zm = 0.5 * (cells.r[1:] + cells.r[:-1]), 0.5 * (cells.z[1:] + cells.z[:-1])
    beside = np.where(rm > cells.gas_r, np.diff(cells.r), 0.0)[:, None] * of
    above = np.where(np.abs(zm) > cells.gas_z, np.diff(cells.z), 0.0)[None, :] * of
    up = zm > 0.0
    tau = np.cumsum(beside, axis=0) - 0.5 * beside
    tau += np.where(up, np.cumsum(np.where(up, above, 0.0), axis=1), 0.0)
    down = np.where(up, 0.0, above)
    tau += np.where(up, 0.0, np.cumsum(down[:, ::-1], axis=1)[:, ::-1])
    value = np.exp(-0.7 * tau) + 1e-6
    return np.ascontiguousarray(np.stack([value, value], axis=-1))
