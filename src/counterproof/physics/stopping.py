"""Stopping powers and ranges of electrons in any material, 1 keV to 10 MeV (energies in MeV).

Collision: the Bethe formula for electrons with the density effect computed from the shells of the
atoms (R. M. Sternheimer, S. M. Seltzer, M. J. Berger, Phys. Rev. B 26 (1982) 6067), as in NIST's
ESTAR and ICRU Report 37 (1984), with the material's own mean excitation energy or Bragg additivity
(about 1 % in the stopping power of a compound). Radiative: added by mass fraction. Below 10 keV
the Bethe formula itself is uncertain by some per cent, more in heavy elements.
"""

from __future__ import annotations

import math
from functools import lru_cache
from typing import NamedTuple

import numpy as np
from numpy.typing import ArrayLike, NDArray

from counterproof.physics import estar
from counterproof.physics.elements import ELEMENTS
from counterproof.physics.materials import Material, mean_excitation_ev
from counterproof.physics.spline import CubicSpline

Array = NDArray[np.float64]

ELECTRON_REST_MEV = 0.51099895
MINIMUM_MEV = 1e-3
MAXIMUM_MEV = 10.0
_COLLISION_CONSTANT = 0.307075 / 2.0  # 2π N_A r_e² m c², MeV cm²/mol
_PLASMA_EV = 28.816  # ħω_p of a medium with Z/A times density of one, in eV
_POINTS_PER_DECADE = 64


class StoppingTable(NamedTuple):
    """Stopping powers (MeV cm²/g), CSDA range (g/cm²) and radiation yield on a log grid."""

    energy_mev: Array
    collision: Array
    radiative: Array
    csda_range: Array
    radiation_yield: Array


def density_effect(medium: Material, energy_mev: ArrayLike) -> Array:
    """Density-effect correction δ of the Bethe formula (Sternheimer et al. 1982)."""
    energy = np.atleast_1d(np.asarray(energy_mev, dtype=np.float64))
    tau = energy / ELECTRON_REST_MEV
    y = tau * (tau + 2.0)  # (βγ)²
    plasma = _PLASMA_EV * math.sqrt(medium.density_g_cm3 * medium.z_over_a)
    excitation = mean_excitation_ev(medium)
    single = len(medium.mass_fractions) == 1
    strength: list[float] = []
    level: list[float] = []
    for z, w in medium.mass_fractions.items():
        occupation, binding, conducts = estar.shells(z)
        share = w * z / ELEMENTS[z].atomic_weight / medium.z_over_a
        if conducts and single:
            binding[-1] = 0.0
        strength += list(occupation / occupation.sum() * share)
        level += list(binding)
    f = np.array(strength)
    squared = (np.array(level) / plasma) ** 2
    ends_conducting = level[-1] <= 0.0
    local = np.full(f.size, 2.0 / 3.0)
    if ends_conducting:
        local[-1] = 1.0
    wanted = 2.0 * math.log(excitation / plasma)
    root = 1.0  # square of Sternheimer's adjustment factor ρ
    for _ in range(200):
        term = root * squared + local * f
        change = (float(np.sum(f * np.log(term))) - wanted) / float(np.sum(f * squared / term))
        root = max(root - change, root / 10.0)
        if abs(change) < 1e-10 * root:
            break
    eps = root * squared
    out = np.zeros(y.size)
    threshold = 0.0 if ends_conducting else 1.0 / float(np.sum(f / eps))
    above = y > threshold
    if above.any():
        target = 1.0 / y[above]
        low = np.full(target.size, 1e-12)
        high = y[above] + eps.max() + 1.0
        for _ in range(100):  # Σ f/(ε + L) falls with L: bisection cannot fail
            middle = np.sqrt(low * high)
            value = (f[:, None] / (eps[:, None] + middle)).sum(axis=0)
            low = np.where(value > target, middle, low)
            high = np.where(value > target, high, middle)
        length = np.sqrt(low * high)
        beta2 = y[above] / (1.0 + y[above])
        logs = (f[:, None] * np.log1p(length / (eps + local * f)[:, None])).sum(axis=0)
        out[above] = logs - length * (1.0 - beta2)
    return np.maximum(out, 0.0).reshape(np.shape(energy_mev))


def _collision(medium: Material, energy: Array) -> Array:
    tau = energy / ELECTRON_REST_MEV
    beta2 = tau * (tau + 2.0) / (tau + 1.0) ** 2
    excitation = mean_excitation_ev(medium) * 1e-6
    rest = (1.0 - beta2) * (1.0 + tau**2 / 8.0 - (2.0 * tau + 1.0) * math.log(2.0))
    logs = 2.0 * np.log(energy / excitation) + np.log1p(tau / 2.0)
    value = (
        _COLLISION_CONSTANT * medium.z_over_a / beta2
        * (logs + rest - density_effect(medium, energy))
    )  # fmt: skip
    # under about twice the mean excitation energy of a heavy element the formula turns over
    return np.asarray(np.maximum(value, 1e-3), dtype=np.float64)


@lru_cache(maxsize=256)
def stopping_table(medium: Material) -> StoppingTable:
    """Everything on a grid of 64 points per decade from 1 keV to 10 MeV; cached per material.

    The CSDA range is the integral of dE/S from zero; below 1 keV it is E/(2S), as in ESTAR.
    """
    decades = math.log10(MAXIMUM_MEV / MINIMUM_MEV)
    energy = np.geomspace(MINIMUM_MEV, MAXIMUM_MEV, round(decades * _POINTS_PER_DECADE) + 1)
    collision = _collision(medium, energy)
    table = sum(w * estar.radiative_mev_cm2_g(z) for z, w in medium.mass_fractions.items())
    spline = CubicSpline(np.log(estar.ENERGY_MEV), np.log(np.asarray(table)))
    radiative = np.exp(spline(np.log(energy)))
    full = collision + radiative
    logs = np.log(energy)
    inverse = CubicSpline(logs, energy / full).integral()  # dE = E dlnE
    radiated = CubicSpline(logs, energy * radiative / full).integral()
    csda = 0.5 * energy[0] / full[0] + inverse
    lost = 0.5 * energy[0] * radiative[0] / full[0] + radiated
    for array in (energy, collision, radiative, csda):
        array.flags.writeable = False
    return StoppingTable(energy, collision, radiative, csda, lost / energy)


def _lookup(grid: Array, values: Array, energy_mev: ArrayLike) -> Array:
    energy = np.asarray(energy_mev, dtype=np.float64)
    if energy.size and not (
        energy.min() >= MINIMUM_MEV * (1.0 - 1e-9) and energy.max() <= MAXIMUM_MEV * (1.0 + 1e-9)
    ):
        raise ValueError("electron energies must lie in 1 keV to 10 MeV")
    out = np.exp(np.interp(np.log(energy), np.log(grid), np.log(values)))
    return np.asarray(out, dtype=np.float64)


def collision_stopping_power(medium: Material, energy_mev: ArrayLike) -> Array:
    """Mass collision stopping power, MeV cm²/g.

    Args:
        medium: the material.
        energy_mev: kinetic energies of any shape, 1 keV to 10 MeV.

    Raises:
        ValueError: for energies outside that range.
    """
    table = stopping_table(medium)
    return _lookup(table.energy_mev, table.collision, energy_mev)


def radiative_stopping_power(medium: Material, energy_mev: ArrayLike) -> Array:
    """Mass radiative stopping power, MeV cm²/g; arguments as for the collision part."""
    table = stopping_table(medium)
    return _lookup(table.energy_mev, table.radiative, energy_mev)


def total_stopping_power(medium: Material, energy_mev: ArrayLike) -> Array:
    """Mass total stopping power, MeV cm²/g; arguments as for the collision part."""
    table = stopping_table(medium)
    return _lookup(table.energy_mev, table.collision + table.radiative, energy_mev)


def csda_range(medium: Material, energy_mev: ArrayLike) -> Array:
    """Range in the continuous-slowing-down approximation, g/cm²."""
    table = stopping_table(medium)
    return _lookup(table.energy_mev, table.csda_range, energy_mev)


def energy_of_range(medium: Material, range_g_cm2: ArrayLike) -> Array:
    """Energy in MeV of an electron with that CSDA range; 0 below the range at 1 keV."""
    table = stopping_table(medium)
    wanted = np.asarray(range_g_cm2, dtype=np.float64)
    safe = np.maximum(wanted, table.csda_range[0])
    found = np.exp(np.interp(np.log(safe), np.log(table.csda_range), np.log(table.energy_mev)))
    return np.asarray(np.where(wanted < table.csda_range[0], 0.0, found), dtype=np.float64)


def radiation_yield(medium: Material, energy_mev: ArrayLike) -> Array:
    """Mean fraction of an electron's energy radiated as bremsstrahlung until it stops."""
    table = stopping_table(medium)
    return _lookup(table.energy_mev, table.radiation_yield, energy_mev)


def extrapolated_range_g_cm2(medium: Material, energy_mev: ArrayLike) -> Array:
    """Extrapolated range of a normal beam of electrons in any material, g/cm², 0.3 keV to 30 MeV.

    T. Tabata, R. Ito, S. Okabe, Nucl. Instrum. Methods 103 (1972) 85, with the material's mean
    atomic number by electrons; a fit to measurements within some per cent.
    """
    tau = np.asarray(energy_mev, dtype=np.float64) / ELECTRON_REST_MEV
    upper = sum(w * z * z / ELEMENTS[z].atomic_weight for z, w in medium.mass_fractions.items())
    z = upper / medium.z_over_a
    a = z / medium.z_over_a
    b1, b2 = 0.2335 * a / z**1.209, 1.78e-4 * z
    b3, b4, b5 = 0.9891 - 3.01e-4 * z, 1.468 - 1.180e-2 * z, 1.232 / z**0.109
    value = b1 * (np.log1p(b2 * tau) / b2 - b3 * tau / (1.0 + b4 * tau**b5))
    return np.asarray(value, dtype=np.float64)


def extrapolated_range_mg_cm2(energy_mev: ArrayLike) -> Array:
    """Extrapolated range in aluminium of monoenergetic electrons or a beta end point, mg/cm².

    ``412 E^(1.265 − 0.0954 ln E)``, 0.01 to 2.5 MeV, and ``530 E − 106`` beyond (L. Katz and A. S.
    Penfold, Rev. Mod. Phys. 24 (1952) 28). Not comparable with a CSDA range, which follows the
    track. For other materials use :func:`extrapolated_range_g_cm2`.
    """
    energy = np.asarray(energy_mev, dtype=np.float64)
    low = 412.0 * energy ** (1.265 - 0.0954 * np.log(np.maximum(energy, 1e-6)))
    return np.asarray(np.where(energy <= 2.5, low, 530.0 * energy - 106.0), dtype=np.float64)
