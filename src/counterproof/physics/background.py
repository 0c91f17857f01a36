"""The field without a source: a model of natural background for predictions.

Terrestrial photons one metre above wide, flat ground: lines of K-40 and of the U-238 and Th-232
series that reach the air unscattered, ``Φ = S/(2 µ) E₂(µ_air h)``, and scattered photons with the
shape ``E^−1.3 exp(−(60 keV/E)³)`` up to each line, scaled so that the whole meets the dose
coefficients of UNSCEAR 2000 (annex B). Cosmic rays: directly ionising particles and photons after
UNSCEAR 2000, altitude after A. Bouville and W. M. Lowder, Radiat. Prot. Dosim. 24 (1988) 293.

For prediction only: a real place differs by a factor of two either way; analysis uses a measured
rate. Buildings, radon daughters in rain, and neutrons are not in it.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from functools import lru_cache

import numpy as np
from numpy.typing import NDArray

from counterproof.physics import attenuation, dose
from counterproof.physics.emissions import emission
from counterproof.physics.materials import material
from counterproof.physics.nuclides import equilibrium

Array = NDArray[np.float64]

# UNSCEAR 2000, annex B: nGy/h in air at 1 m per Bq/kg, and population-weighted world means
COEFFICIENT_NGY_H = {"K-40": 0.0417, "U-238": 0.462, "Th-232": 0.604}
WORLD_BQ_KG = {"K-40": 420.0, "U-238": 33.0, "Th-232": 45.0}
COSMIC_NGY_H = 32.0
"""Directly ionising and photon part at sea level, free in air (UNSCEAR 2000: 31 to 32 nGy/h)."""
CHARGED_PER_CM2_S = 0.019
"""Muons and electrons through a small sphere per cm² of its cross-section at sea level: 1 per cm²
and minute through a horizontal plane (Particle Data Group, cosmic rays), times 4/3 for all
directions of a cos² distribution, less than a tenth soft electrons; from memory, within 15 %."""
RELATIVE_U = 0.25
_HEIGHT_CM = 100.0


@dataclass(frozen=True)
class Background:
    """Natural background at a place.

    Args:
        photon_kev: lines and bins, shape (n,).
        photon_fluence_rate: 1/(cm² s), shape (n,), terrestrial.
        charged_fluence_rate: cosmic muons and electrons, 1/(cm² s).
        terrestrial_ngy_h: air kerma rate of the terrestrial photons.
        cosmic_ngy_h: dose rate of the cosmic part.
        h10_usv_h: both together in H*(10); the cosmic part counted as 1 Sv/Gy.
        relative_u: relative standard uncertainty for an unknown place.
    """

    photon_kev: Array
    photon_fluence_rate: Array
    charged_fluence_rate: float
    terrestrial_ngy_h: float
    cosmic_ngy_h: float
    h10_usv_h: float
    relative_u: float = RELATIVE_U


def altitude_factor(altitude_m: float) -> float:
    """Directly ionising cosmic dose rate over that at sea level (Bouville and Lowder 1988)."""
    km = altitude_m / 1000.0
    return 0.21 * math.exp(-1.649 * km) + 0.79 * math.exp(0.4528 * km)


@lru_cache(maxsize=8)
def _series(head: str) -> tuple[Array, Array]:
    """Photon energies and fluence rates per Bq/kg of a series, unscattered and scattered."""
    from scipy.special import expn

    soil, air = material("soil"), material("air")
    members = equilibrium(head, full=True)
    lines = [
        (float(e), float(y) * activity)
        for name, activity in members.items()
        for e, y in zip(emission(name).photon_kev, emission(name).photon_yield, strict=True)
        if e >= 40.0 and y * activity > 1e-4
    ]
    energy = np.array([e for e, _ in lines])
    per_gram = np.array([y for _, y in lines]) * 1e-3  # photons per g and s at 1 Bq/kg
    mass = attenuation.total(soil, energy, with_coherent=False)
    over_air = attenuation.total(air, energy, with_coherent=False) * air.density_g_cm3 * _HEIGHT_CM
    unscattered = per_gram / (2.0 * mass) * expn(2, over_air)
    grid = np.geomspace(25.0, 2600.0, 49)
    middle, width = np.sqrt(grid[1:] * grid[:-1]), np.diff(grid)
    shape = middle**-1.3 * np.exp(-((60.0 / middle) ** 3)) * width
    below = middle[None, :] < energy[:, None]
    per_line = below * shape[None, :]
    per_line /= np.maximum(per_line.sum(axis=1, keepdims=True), 1e-300)
    scattered = (unscattered * energy) @ per_line  # energy-weighted: strong lines scatter most
    direct = float(dose.air_kerma_ugy_h(energy, unscattered)) * 1e3
    rest = max(COEFFICIENT_NGY_H[head] - direct, 0.0)
    scattered *= rest / (float(dose.air_kerma_ugy_h(middle, scattered)) * 1e3)
    return np.concatenate([energy, middle]), np.concatenate([unscattered, scattered])


def background(
    altitude_m: float = 0.0,
    k40_bq_kg: float = WORLD_BQ_KG["K-40"],
    u238_bq_kg: float = WORLD_BQ_KG["U-238"],
    th232_bq_kg: float = WORLD_BQ_KG["Th-232"],
) -> Background:
    """Model the background outdoors.

    Args:
        altitude_m: above sea level, up to about 5000 m.
        k40_bq_kg: activity of K-40 in the ground.
        u238_bq_kg: activity of U-238, with its daughters in equilibrium.
        th232_bq_kg: activity of Th-232, with its daughters in equilibrium.
    """
    parts = (("K-40", k40_bq_kg), ("U-238", u238_bq_kg), ("Th-232", th232_bq_kg))
    kev = np.concatenate([_series(head)[0] for head, _ in parts])
    rate = np.concatenate([_series(head)[1] * amount for head, amount in parts])
    order = np.argsort(kev)
    kev, rate = kev[order], rate[order]
    terrestrial = float(dose.air_kerma_ugy_h(kev, rate)) * 1e3
    factor = altitude_factor(altitude_m)
    cosmic = COSMIC_NGY_H * factor
    h10 = float(dose.ambient_dose_usv_h(kev, rate)) + cosmic * 1e-3
    return Background(kev, rate, CHARGED_PER_CM2_S * factor, terrestrial, cosmic, h10)
