"""Electron spectra through a cover, air and absorbers, from the table of kernels.

For a material's scattering (effective atomic number), an energy and a depth in units of the CSDA
range the table holds the fluence relative to what would arrive without the layer, and 32 equal
packets of it by energy. Four geometries were simulated:

* ``cover``: isotropic point at the face of a layer, seen from far on the axis;
* ``shell``: isotropic point in a ball, seen from far;
* ``air``: isotropic point in an infinite medium;
* ``behind``: parallel beam on a layer, fluence just behind it.

Layers of one group act as one: depths in units of the range add, their scattering is averaged.
"""

from __future__ import annotations

from collections.abc import Sequence
from functools import cache, lru_cache
from importlib.resources import as_file, files

import numpy as np
from numpy.typing import NDArray

from counterproof.physics.electrons.scatter import effective_z
from counterproof.physics.materials import Material, material
from counterproof.physics.sheets import Sheet
from counterproof.physics.stopping import csda_range

Array = NDArray[np.float64]

_FILE = "data/electron_kernels_2026.npz"


@cache
def _kernels() -> dict[str, Array]:
    source = files("counterproof.physics.electrons").joinpath(_FILE)
    with as_file(source) as path, np.load(path) as data:
        return {name: np.asarray(data[name], dtype=np.float64) for name in data.files}


@lru_cache(maxsize=64)
def _at_energies(kind: str, label: str, z: float, raw: bytes) -> Array:
    """Kernel at given energies: shape (n, depths) or (n, depths, packets)."""
    table = _kernels()
    values = table[f"{kind}_{label}"]
    if values.shape[0] == 1:
        medium = values[0]
    else:
        place = float(np.interp(np.log(z), np.log(table["z"]), np.arange(table["z"].size)))
        low = min(int(place), table["z"].size - 2)
        medium = values[low] * (low + 1 - place) + values[low + 1] * (place - low)
    energy = np.frombuffer(raw, dtype=np.float64)
    grid = np.log(table["energy_mev"])
    place_e = np.interp(np.log(energy), grid, np.arange(grid.size))
    low_e = np.minimum(place_e.astype(np.int64), grid.size - 2)
    up = (place_e - low_e).reshape((-1,) + (1,) * (medium.ndim - 1))
    return np.asarray(medium[low_e] * (1.0 - up) + medium[low_e + 1] * up, dtype=np.float64)


def _lookup(kind: str, z: float, energy_mev: Array, depth: Array) -> tuple[Array, Array]:
    """Fluence (d, n) and packet energies (d, n, packets) over the start, at depths (d, n)."""
    raw = np.ascontiguousarray(energy_mev).tobytes()
    fluence = _at_energies(kind, "fluence", z, raw)
    packets = _at_energies(kind, "packets", z, raw)
    grid = _kernels()["depth"]
    place = np.interp(depth, grid, np.arange(grid.size))
    low = np.minimum(place.astype(np.int64), grid.size - 2)
    up = place - low
    column = np.arange(energy_mev.size)
    level = fluence[column, low] * (1.0 - up) + fluence[column, low + 1] * up
    level = np.where(depth > grid[-1], 0.0, level)
    shape = packets[column, low] * (1.0 - up)[..., None]
    shape += packets[column, low + 1] * up[..., None]
    return level, shape


def _deposit(edges_kev: Array, middle_kev: Array, level: Array, shape: Array) -> Array:
    """Sort packets into bins: number and energy kept; below the lowest bin they are lost.

    Args:
        edges_kev: shape (n + 1,).
        middle_kev: energies at the start, shape (n,).
        level: electrons of each start bin that arrive, shape (d, n).
        shape: their packets' energies over the start, shape (d, n, packets).
    """
    rows, bins, packets = shape.shape
    energy = shape * middle_kev[None, :, None]
    weight = np.broadcast_to((level / packets)[..., None], shape.shape)
    # bins are even in the square root of the energy: middles are (root + step/2)² + step²/4
    root, step = np.sqrt(edges_kev[0]), np.sqrt(edges_kev[1]) - np.sqrt(edges_kev[0])
    place = (np.sqrt(np.maximum(energy - step**2 / 4.0, 0.0)) - root) / step - 0.5
    low = np.clip(np.floor(place + 1e-9).astype(np.int64), -1, bins - 1)
    inner = np.clip(low, 0, bins - 2)
    up = (energy - middle_kev[inner]) / np.diff(middle_kev)[inner]
    up = np.where((low < 0) | (low > bins - 2), 0.0, np.clip(up, 0.0, 1.0))
    kept = energy >= edges_kev[0]
    row = np.arange(rows)[:, None, None] * (bins + 2)
    size = rows * (bins + 2)
    lower = np.bincount(
        (row + low + 1).ravel(), (weight * (1.0 - up) * kept).ravel(), size
    ).reshape(rows, bins + 2)
    upper = np.bincount((row + low + 2).ravel(), (weight * up * kept).ravel(), size)
    both = np.asarray(lower + upper.reshape(rows, bins + 2), dtype=np.float64)
    out: Array = both[:, 1:-1].copy()
    out[:, 0] += both[:, 0]  # between the lowest edge and the lowest middle
    out[:, -1] += both[:, -1]
    return out


def _group(sheets: Sequence[Sheet], energy_mev: Array) -> tuple[Array, float]:
    """Depth in units of the range at every energy, and the group's effective atomic number."""
    depth = np.zeros(energy_mev.size)
    weight = scattering = 0.0
    for layer in sheets:
        part = layer.areal_g_cm2 / csda_range(layer.material, energy_mev)
        depth += part
        weight += float(part[-1])
        scattering += float(part[-1]) * effective_z(layer.material)
    return depth, scattering / weight if weight > 0.0 else 7.0


def _middle(edges_kev: Array) -> Array:
    return (edges_kev[1:] + edges_kev[:-1]) / 2.0


def _layers(kind: str, sheets: Sequence[Sheet], edges_kev: Array, rate: Array) -> Array:
    middle = _middle(edges_kev)
    depth, z = _group(sheets, middle * 1e-3)
    if not depth.any():
        return rate
    level, shape = _lookup(kind, z, middle * 1e-3, depth[None, :])
    rows = np.atleast_2d(rate)
    out = _deposit(
        edges_kev,
        middle,
        rows * level,
        np.broadcast_to(shape, (rows.shape[0], *shape.shape[1:])),
    )
    return out.reshape(rate.shape)


def longest_range_g_cm2(medium: Material, edges_kev: Array) -> float:
    """CSDA range at the highest energy of a binning, g/cm²."""
    return float(csda_range(medium, edges_kev[-1] * 1e-3))


def behind(sheets: Sequence[Sheet], edges_kev: Array, rate: Array) -> Array:
    """Fluence spectrum just behind layers hit at right angles.

    Args:
        sheets: the layers.
        edges_kev: bin edges, even in the square root of the energy, shape (n + 1,).
        rate: fluence per bin in front, shape (n,) or (d, n).

    Returns:
        Fluence per bin behind, same shape.
    """
    return _layers("behind", sheets, edges_kev, rate)


def number_behind(
    sheets: Sequence[Sheet], edges_kev: Array, rate: Array, *, isotropic: bool = False
) -> Array:
    """Electrons of each start bin that come through layers, shape (n,).

    They are sent in at right angles, or from an isotropic point at the layers' face (then ``rate``
    counts those sent into the layers).
    """
    middle = _middle(edges_kev)
    depth, z = _group(sheets, middle * 1e-3)
    raw = np.ascontiguousarray(middle * 1e-3).tobytes()
    current = _at_energies("cover" if isotropic else "behind", "current", z, raw)
    grid = _kernels()["depth"]
    passed = [np.interp(d, grid, row, right=0.0) for d, row in zip(depth, current, strict=True)]
    return np.asarray(rate * np.array(passed), dtype=np.float64)


def through_cover(sheets: Sequence[Sheet], edges_kev: Array, rate: Array) -> Array:
    """Electrons per bin that a source under a flat cover sends along the axis, as if all around.

    Nothing lies behind the source. The result over 4π is the intensity per steradian on the axis;
    shapes as for :func:`behind`.
    """
    return _layers("cover", sheets, edges_kev, rate)


def around(sheets: Sequence[Sheet], edges_kev: Array, rate: Array) -> Array:
    """Electrons per bin that leave layers all around a point source; as :func:`behind`."""
    return _layers("shell", sheets, edges_kev, rate)


def in_air(
    distances_cm: Array, edges_kev: Array, rate: Array, air: Material | None = None
) -> Array:
    """Fluence spectra around an isotropic point in air, times 4πr².

    Args:
        distances_cm: path in air, shape (d,), not negative.
        edges_kev: bin edges, shape (n + 1,).
        rate: electrons per bin and second that leave the point, shape (n,).
        air: dry air at 20 °C and 101.325 kPa when absent.

    Returns:
        Shape (d, n).
    """
    medium = air or material("air")
    middle = _middle(edges_kev)
    some = np.flatnonzero(rate > 0.0)
    if some.size == 0:
        return np.zeros((distances_cm.size, rate.size))
    reach = csda_range(medium, middle * 1e-3)
    depth = distances_cm[:, None] * medium.density_g_cm3 / reach[None, :]
    level, shape = _lookup("air", 7.4, middle * 1e-3, depth)
    return _deposit(edges_kev, middle, level * rate[None, :], shape)
