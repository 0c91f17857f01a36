"""Elastic scattering of electrons by atoms: transport cross sections and a screening to match.

The first and second transport cross sections come from a partial-wave calculation (``data/``, made
by :mod:`.build_elastic`). The transport samples screened Rutherford angles, ``∝ 1/(μ + A)²`` with
μ = (1 − cos θ)/2, with A and the total chosen so that both are met (J. M. Fernández-Varea, R.
Mayol, J. Baró, F. Salvat, Nucl. Instrum. Methods B 73 (1993) 447).
"""

from __future__ import annotations

from functools import cache
from importlib.resources import as_file, files

import numpy as np

from counterproof.physics.spline import CubicSpline
from counterproof.physics.tube.layout import MC2, Array

A0 = 0.529177210903  # Å
HBARC = 1.973269804  # keV Å
ALPHA = 7.2973525693e-3
RE2 = 0.07940787e-24  # cm²


def screened_rutherford(z: float, energy_kev: Array) -> tuple[Array, Array]:
    """Molière's screening parameter A and the first transport cross section, cm² per atom."""
    e = np.asarray(energy_kev, dtype=np.float64)
    tau = e / MC2
    bg2 = tau * (tau + 2.0)
    beta2 = bg2 / (1.0 + tau) ** 2
    pc = MC2 * np.sqrt(bg2)
    radius = 0.885341 * A0 * z ** (-1.0 / 3.0)
    a = 0.25 * (HBARC / (pc * radius)) ** 2 * (1.13 + 3.76 * (ALPHA * z) ** 2 / beta2)
    first = 2.0 * np.pi * RE2 * z * z / (beta2 * bg2) * (np.log1p(1.0 / a) - 1.0 / (1.0 + a))
    return a, first


@cache
def _table() -> tuple[Array, Array, Array, Array]:
    with (
        as_file(files(__package__) / "data" / "elastic_transport_2026.npz") as path,
        np.load(path) as store,
    ):
        return store["atoms"], store["energy_kev"], store["first"], store["second"]


def transport_cross_sections(z: int, energy_kev: Array) -> tuple[Array, Array]:
    """First and second transport cross sections, cm² per atom.

    Between the calculated atoms and energies the ratio to screened Rutherford scattering and the
    logarithm of the matching screening parameter are interpolated; beyond the highest energy the
    ratio stays and the screening goes on with its slope.

    Args:
        z: atomic number.
        energy_kev: kinetic energies, shape (n,).
    """
    atoms, grid, first, second = _table()
    e = np.asarray(energy_kev, dtype=np.float64)
    base = np.array([screened_rutherford(float(a), grid)[1] for a in atoms])
    ln_screen = np.log([screening_of_ratio(row) for row in second / first])
    ln_ratio = np.log(first / base)
    at_z = np.array([np.interp(z, atoms, c) for c in ln_ratio.T])
    a_z = np.array([np.interp(np.log(z), np.log(atoms), c) for c in ln_screen.T])
    ln_e, ln_grid = np.log(e), np.log(grid)
    within = np.minimum(ln_e, ln_grid[-1])
    slope = (a_z[-1] - a_z[-2]) / (ln_grid[-1] - ln_grid[-2])
    ln_a = CubicSpline(ln_grid, a_z)(within) + slope * np.maximum(ln_e - ln_grid[-1], 0.0)
    s1 = np.exp(CubicSpline(ln_grid, at_z)(within)) * screened_rutherford(float(z), e)[1]
    return s1, s1 * ratio_of_screening(np.exp(ln_a))


def ratio_of_screening(a: Array) -> Array:
    """Second over first transport cross section of screened Rutherford scattering."""
    log = np.log1p(1.0 / a)
    mean = a * ((1.0 + a) * log - 1.0)
    # the mean of μ²: A(1 + A) [1 − 2A ln(1 + 1/A) + A/(1 + A)]
    square = a * (1.0 + a) * (1.0 - 2.0 * a * log + a / (1.0 + a))
    return np.asarray(3.0 * (1.0 - square / mean))


_GRID_A: Array = np.geomspace(1e-10, 50.0, 800)


def screening_of_ratio(ratio: Array) -> Array:
    """Screening parameter whose second over first transport cross section is ``ratio``."""
    found = np.interp(
        -np.asarray(ratio, dtype=np.float64), -ratio_of_screening(_GRID_A), np.log(_GRID_A)
    )
    return np.asarray(np.exp(found))
