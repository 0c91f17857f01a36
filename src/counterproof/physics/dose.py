"""Dose quantities and the conversions between them.

What to use when: :func:`air_kerma_ugy_h` and :func:`ambient_dose_usv_h` for photon fluence rates,
:func:`directional_dose_usv_h` for electrons, :func:`exposure_mr_h` to speak roentgen, the
``…_constant`` functions for a nuclide at one metre, :func:`per_usv_h` to convert a sensitivity that
is quoted for a nuclide.

The coefficients are those of ICRP Publication 74 (1996) = ICRU Report 57 (1998). Newer evaluations
of H*(10)/Ka lie 2 to 3 % lower.
"""

from __future__ import annotations

import math
from functools import cache
from typing import Literal

import numpy as np
from numpy.typing import ArrayLike, NDArray

from counterproof.physics.attenuation import air_energy_absorption
from counterproof.physics.emissions import emission
from counterproof.physics.materials import material
from counterproof.physics.nuclides import equilibrium

Array = NDArray[np.float64]

COEFFICIENT_SET = "ICRP Publication 74 (1996) / ICRU Report 57 (1998)"
GY_PER_ROENTGEN = 2.58e-4 * 33.97
"""Air collision kerma of one roentgen: 2.58e-4 C/kg (exact) times W/e = 33.97 J/C."""

_UGY_H_PER_KEV_G_S = 1.602176634e-16 / 1e-3 * 1e6 * 3600.0

# ICRP 74 (1996), table A.21: H*(10)/Ka in Sv/Gy
_H10_KEV = (
    10.0, 15.0, 20.0, 30.0, 40.0, 50.0, 60.0, 80.0, 100.0, 150.0, 200.0, 300.0, 400.0, 500.0,
    600.0, 800.0, 1000.0, 1500.0, 2000.0, 3000.0, 10000.0,
)  # fmt: skip
_H10_SV_GY = (
    0.008, 0.26, 0.61, 1.10, 1.47, 1.67, 1.74, 1.72, 1.65, 1.49, 1.40, 1.31, 1.26, 1.23,
    1.21, 1.19, 1.17, 1.15, 1.14, 1.13, 1.10,
)  # fmt: skip

# ICRP 74 (1996), table A.44, H'(0.07, 0°) per electron fluence in nSv cm²; from memory, checked
# against our own Monte Carlo in tissue within 8 % (tests/physics/test_dose.py)
_H007_KEV = (
    70.0, 80.0, 90.0, 100.0, 112.5, 125.0, 150.0, 200.0, 300.0, 400.0, 500.0, 600.0, 700.0, 800.0,
    1000.0, 1250.0, 1500.0, 1750.0, 2000.0, 2500.0, 3000.0, 3500.0, 4000.0,
)  # fmt: skip
_H007_NSV_CM2 = (
    0.221, 1.056, 1.527, 1.661, 1.627, 1.513, 1.229, 0.834, 0.542, 0.455, 0.403, 0.366, 0.344,
    0.329, 0.312, 0.296, 0.287, 0.282, 0.279, 0.278, 0.276, 0.274, 0.272,
)  # fmt: skip


def h10_per_air_kerma(energy_kev: ArrayLike) -> Array:
    """H*(10)/Ka in Sv/Gy: ICRP 74 table A.21, log-log between its energies, continued outside."""
    x, y = np.log(_H10_KEV), np.log(_H10_SV_GY)
    wanted = np.log(np.asarray(energy_kev, dtype=np.float64))
    inside = np.interp(wanted, x, y)
    slope = (y[1] - y[0]) / (x[1] - x[0])
    return np.asarray(np.exp(np.where(wanted < x[0], y[0] + slope * (wanted - x[0]), inside)))


@cache
def _radiated_air() -> tuple[Array, Array]:
    """Fraction of the transferred energy that air radiates again, on a grid of energies."""
    from counterproof.physics.attenuation import energy_absorption, energy_transfer

    grid = np.geomspace(10.0, 1e4, 61)
    air = material("air")
    return np.log(grid), 1.0 - energy_absorption(air, grid) / energy_transfer(air, grid)


def radiated_fraction_air(energy_kev: ArrayLike) -> Array:
    """Share g of air kerma that is radiated away; collision kerma = kerma (1 − g)."""
    x, g = _radiated_air()
    return np.interp(np.log(np.asarray(energy_kev, dtype=np.float64)), x, g)


def air_kerma_per_fluence(energy_kev: ArrayLike) -> Array:
    """Air kerma rate in µGy/h for one photon per cm² and second: E µ_en/ρ / (1 − g)."""
    energy = np.asarray(energy_kev, dtype=np.float64)
    collision = energy * air_energy_absorption(energy) * _UGY_H_PER_KEV_G_S
    return np.asarray(collision / (1.0 - radiated_fraction_air(energy)))


def h10_per_fluence(energy_kev: ArrayLike) -> Array:
    """H*(10) rate in µSv/h for one photon per cm² and second."""
    return air_kerma_per_fluence(energy_kev) * h10_per_air_kerma(energy_kev)


def air_kerma_ugy_h(energy_kev: ArrayLike, fluence_rate_cm2_s: ArrayLike) -> Array:
    """Air kerma rate of a photon spectrum, µGy/h.

    Args:
        energy_kev: shape (n,).
        fluence_rate_cm2_s: shape (…, n).
    """
    return np.asarray(np.asarray(fluence_rate_cm2_s) @ air_kerma_per_fluence(energy_kev))


def ambient_dose_usv_h(energy_kev: ArrayLike, fluence_rate_cm2_s: ArrayLike) -> Array:
    """H*(10) rate of a photon spectrum, µSv/h; shapes as for :func:`air_kerma_ugy_h`."""
    return np.asarray(np.asarray(fluence_rate_cm2_s) @ h10_per_fluence(energy_kev))


def exposure_mr_h(energy_kev: ArrayLike, fluence_rate_cm2_s: ArrayLike) -> Array:
    """Exposure rate of a photon spectrum, mR/h: collision kerma over 8.76 mGy/R."""
    energy = np.asarray(energy_kev, dtype=np.float64)
    per = energy * air_energy_absorption(energy) * _UGY_H_PER_KEV_G_S
    return np.asarray(np.asarray(fluence_rate_cm2_s) @ per) * 1e-3 / GY_PER_ROENTGEN


def h007_per_electron_fluence(energy_kev: ArrayLike) -> Array:
    """H'(0.07, 0°) rate in µSv/h for one electron per cm² and second.

    ICRP 74 table A.44 for a parallel beam, log-log; zero below 65 keV, where an electron does not
    reach 0.07 mm of tissue. From a point source in air the beam is nearly parallel; behind a thick
    layer it is not, and the approximation is low by up to about a third.
    """
    energy = np.asarray(energy_kev, dtype=np.float64)
    inside = np.interp(np.log(np.maximum(energy, 1e-3)), np.log(_H007_KEV), np.log(_H007_NSV_CM2))
    below = np.log(_H007_NSV_CM2[0]) * np.ones_like(energy)
    value = np.exp(np.where(energy < _H007_KEV[0], below, inside))
    ramp = np.clip((energy - 65.0) / (_H007_KEV[0] - 65.0), 0.0, 1.0)
    return np.asarray(value * ramp * 1e-3 * 3600.0)


def directional_dose_usv_h(energy_kev: ArrayLike, fluence_rate_cm2_s: ArrayLike) -> Array:
    """H'(0.07) rate of an electron spectrum in bins, µSv/h; shapes as for the kerma."""
    return np.asarray(np.asarray(fluence_rate_cm2_s) @ h007_per_electron_fluence(energy_kev))


def air_kerma_constant(nuclide: str, cut_kev: float = 15.0, *, daughters: bool = False) -> float:
    """Air-kerma-rate constant in µGy m²/(MBq h): photons above ``cut_kev`` from a bare point.

    With ``daughters`` those in equilibrium (``nuclides.equilibrium``) are included.
    """
    held = equilibrium(nuclide) if daughters else {nuclide: 1.0}
    total = 0.0
    for name, activity in held.items():
        em = emission(name)
        use = em.photon_kev >= cut_kev
        fluence = 1e6 * activity * em.photon_yield[use] / (4.0 * math.pi * 1e4)
        total += float(air_kerma_ugy_h(em.photon_kev[use], fluence)) if use.any() else 0.0
    return total


def exposure_rate_constant(
    nuclide: str,
    cut_kev: float = 15.0,
    interpolation: Literal["log-log", "lin-log"] = "log-log",
) -> float:
    """Exposure-rate constant in R cm²/(mCi h), without daughters.

    D. S. Smith and M. G. Stabin, Health Phys. 102 (2012) 271, cut off at 15 keV, interpolated the
    energy-absorption coefficient linearly in the logarithm of the energy (``"lin-log"``), which is
    high between the table's points at low energy: by 5 to 13 % for soft emitters.
    """
    em = emission(nuclide)
    use = em.photon_kev >= cut_kev
    energy = em.photon_kev[use]
    if interpolation == "log-log":
        coefficient = air_energy_absorption(energy)
    else:
        from counterproof.physics.attenuation import AIR_TABLE

        grid, values = AIR_TABLE
        above = grid >= 5.0
        coefficient = np.interp(np.log(energy), np.log(grid[above]), values[above])
    power = float((energy * em.photon_yield[use] * coefficient).sum())
    ugy_h = power * 3.7e7 / (4.0 * math.pi) * _UGY_H_PER_KEV_G_S
    return ugy_h * 1e-6 / GY_PER_ROENTGEN


def h10_per_roentgen(energy_kev: ArrayLike) -> Array:
    """H*(10) in mSv for an exposure of one roentgen by photons of an energy."""
    energy = np.asarray(energy_kev, dtype=np.float64)
    kerma = GY_PER_ROENTGEN / (1.0 - radiated_fraction_air(energy))
    return np.asarray(kerma * 1e3 * h10_per_air_kerma(energy))


def mean_h10_per_air_kerma(nuclide: str, cut_kev: float = 15.0) -> float:
    """H*(10)/Ka in Sv/Gy of a nuclide's photons with short-lived daughters, bare point source."""
    kerma = dose = 0.0
    for name, activity in equilibrium(nuclide).items():
        em = emission(name)
        use = em.photon_kev >= cut_kev
        if use.any():
            fluence = activity * em.photon_yield[use]
            kerma += float(air_kerma_ugy_h(em.photon_kev[use], fluence))
            dose += float(ambient_dose_usv_h(em.photon_kev[use], fluence))
    return dose / kerma


def per_usv_h(
    value: float, quantity: Literal["exposure", "air_kerma", "h10"], nuclide: str
) -> float:
    """Turn counts per unit of a dose rate into counts per µSv/h of H*(10).

    Args:
        value: counts per mR/h (exposure), per µGy/h (air kerma) or per µSv/h (H*(10)).
        quantity: what the value is quoted in.
        nuclide: the nuclide it is quoted for.
    """
    return value / convert_rate(1.0, quantity, "h10", nuclide)


def convert_rate(
    value: float,
    given: Literal["exposure", "air_kerma", "h10"],
    wanted: Literal["exposure", "air_kerma", "h10"],
    nuclide: str,
) -> float:
    """Convert a dose rate of a nuclide's photons from one quantity to another.

    Exposure in mR/h, air kerma in µGy/h, H*(10) in µSv/h; one roentgen is 8.764 mGy of collision
    kerma, which is taken for air kerma (0.3 % less at 1.25 MeV); H*(10) over air kerma is the mean
    over the nuclide's spectrum with its short-lived daughters, from 15 keV, bare.
    """
    per_kerma = {
        "exposure": 1.0 / (GY_PER_ROENTGEN * 1e3),
        "air_kerma": 1.0,
        "h10": mean_h10_per_air_kerma(nuclide) if "h10" in (given, wanted) else 1.0,
    }
    return value * per_kerma[wanted] / per_kerma[given]
