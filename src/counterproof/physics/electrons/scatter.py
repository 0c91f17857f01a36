"""Tables that the slab Monte Carlo needs: elastic scattering, Møller collisions, soft losses.

Elastic scattering: screened Rutherford with Molière's screening (G. Molière, Z. Naturforsch. 2a
(1947) 133) and the spin correction of W. A. McKinley and H. Feshbach, Phys. Rev. 74 (1948) 1759.
The correction is good for light and medium elements and low by up to some tens of per cent at large
angles in lead. Collisions with electrons: C. Møller, Ann. Phys. 406 (1932) 531; the soft ones, from
the mean excitation energy up to 10 keV, add to the soft deflection, the hard ones deflect singly.
"""

from __future__ import annotations

from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from counterproof.physics.elements import ELEMENTS
from counterproof.physics.materials import Material, mean_excitation_ev
from counterproof.physics.stopping import (
    ELECTRON_REST_MEV,
    csda_range,
    total_stopping_power,
)

Array = NDArray[np.float64]

FINE_STRUCTURE = 1.0 / 137.035999
_RE2_NA = 0.04782  # N_A r_e², cm²/mol: 6.02214e23 × (2.81794e-13 cm)²
_A0_MEV = 3.7289e-3  # ħc/a0 in MeV, Bohr radius in momentum units
HARD_LOSS_MEV = 0.01
"""Energy above which a collision with an electron is simulated singly."""
HARD_FRACTION = 0.05
"""Hard elastic mean free path over the transport mean free path."""


class Scatter(NamedTuple):
    """Per material on a log grid of energy: everything in g/cm² and MeV.

    Args:
        log_energy: natural logarithms of the energies in MeV, evenly spaced.
        screening: Wentzel parameter A of the angular distribution.
        cut: smallest hard deflection μ = (1 − cos θ)/2.
        hard_elastic: hard elastic collisions per g/cm².
        soft_first: soft inverse first transport path, cm²/g.
        soft_second: soft inverse second transport path, cm²/g.
        moller: hard collisions with electrons per g/cm².
        soft_loss: stopping power without the hard collisions, MeV cm²/g.
        reach: CSDA range, g/cm².
        transport: whole inverse first transport path, cm²/g.
    """

    log_energy: Array
    screening: Array
    cut: Array
    hard_elastic: Array
    soft_first: Array
    soft_second: Array
    moller: Array
    soft_loss: Array
    reach: Array
    transport: Array


def _elastic(z: int, energy: Array) -> tuple[Array, Array]:
    """Screening parameter and inverse first transport path in cm²/g of an element."""
    tau = energy / ELECTRON_REST_MEV
    beta2 = tau * (tau + 2.0) / (tau + 1.0) ** 2
    momentum = np.sqrt(energy * (energy + 2.0 * ELECTRON_REST_MEV))
    radius = 0.885341 * z ** (-1.0 / 3.0)  # Thomas–Fermi, in Bohr radii
    moliere = 1.13 + 3.76 * (FINE_STRUCTURE * z) ** 2 / beta2
    screening = 0.25 * (_A0_MEV / (radius * momentum)) ** 2 * moliere
    # dσ/dΩ = Z² r_e² / (β⁴ γ²) / (4 (μ + A)²) × spin, with μ = sin²(θ/2)
    per_mass = z * z * _RE2_NA / ELEMENTS[z].atomic_weight
    scale = per_mass / (beta2**2 * (1.0 + tau) ** 2)
    nodes, weights = np.polynomial.legendre.leggauss(400)
    u = (nodes + 1.0) / 2.0  # ln(μ + A) from ln A to ln(1 + A)
    low, high = np.log(screening)[:, None], np.log1p(screening)[:, None]
    shifted = np.exp(low + u * (high - low))
    mu = np.clip(shifted - screening[:, None], 0.0, 1.0)
    half = np.sqrt(mu)
    spin = 1.0 - beta2[:, None] * mu
    spin += np.pi * FINE_STRUCTURE * z * np.sqrt(beta2)[:, None] * half * (1.0 - half)
    # 2π ∫ (1 − cos θ) dσ/dΩ d cos θ = 2π ∫ 2μ × (…)/4/(μ+A)² × 2 dμ, dμ = (μ+A) d ln(μ+A)
    integrand = mu * spin / shifted
    integral = (integrand * weights).sum(axis=1) / 2.0 * (high - low)[:, 0]
    return screening, 2.0 * np.pi * scale * integral


def moller_per_g(z_over_a: float, energy: Array, cut: float) -> tuple[Array, Array]:
    """Hard Møller collisions per g/cm² and the energy they take in MeV cm²/g."""
    tau = energy / ELECTRON_REST_MEV
    beta2 = tau * (tau + 2.0) / (tau + 1.0) ** 2
    c = (tau / (tau + 1.0)) ** 2
    d = (2.0 * tau + 1.0) / (tau + 1.0) ** 2
    x = np.minimum(cut / energy, 0.5)
    front = 2.0 * np.pi * _RE2_NA * ELECTRON_REST_MEV * z_over_a / beta2
    number = (
        front / energy * (1.0 / x - 1.0 / (1.0 - x) + c * (0.5 - x) + d * np.log(x / (1.0 - x)))
    )
    # ∫ ε [1/ε² + 1/(1−ε)² + C − D/(ε(1−ε))] dε from x to 1/2
    taken = (
        np.log(0.5 / x)
        + (2.0 + np.log(0.5)) - (1.0 / (1.0 - x) + np.log(1.0 - x))
        + c * (0.25 - x**2) / 2.0
        - d * (np.log(1.0 - x) - np.log(0.5))
    )  # fmt: skip
    return np.maximum(number, 0.0), np.maximum(front * taken, 0.0)


def soft_electron_deflection(medium: Material, energy: Array) -> Array:
    """Inverse first transport path, cm²/g, of soft collisions with atomic electrons.

    A small energy loss W turns the electron by 1 − cos θ = W m / (T (T + 2m)); with the cross
    section ∝ 1/W² that gives the logarithm of the limits.
    """
    tau = energy / ELECTRON_REST_MEV
    beta2 = tau * (tau + 2.0) / (tau + 1.0) ** 2
    top = np.minimum(HARD_LOSS_MEV, energy / 2.0)
    logs = np.log(np.maximum(top / (mean_excitation_ev(medium) * 1e-6), 1.0))
    front = 2.0 * np.pi * _RE2_NA * medium.z_over_a / beta2
    return np.asarray(front / (tau * (tau + 2.0)) * logs, dtype=np.float64)


def scatter_table(medium: Material, highest_mev: float = 4.0) -> Scatter:
    """Build the tables of a material from 1 keV to ``highest_mev``, 64 points per decade."""
    points = int(np.ceil(np.log10(highest_mev / 1e-3) * 64.0)) + 1
    energy = np.geomspace(1e-3, highest_mev, points)
    transport: Array = np.zeros(points)
    log_screening: Array = np.zeros(points)
    for z, w in medium.mass_fractions.items():
        screening, inverse = _elastic(z, energy)
        transport += w * inverse
        log_screening += w * inverse * np.log(screening)
    a = np.exp(log_screening / transport)
    mean = a * ((1.0 + a) * np.log1p(1.0 / a) - 1.0)
    collisions = transport / (2.0 * mean)  # all elastic collisions per g/cm²
    hard = np.minimum(transport / HARD_FRACTION, collisions * (1.0 - 1e-9))
    share = hard / collisions
    cut = a * (1.0 - share) / (a + share)
    ratio = np.log1p(cut / a)
    norm = collisions * a * (1.0 + a)
    first = norm * (ratio + a / (cut + a) - 1.0)
    second = norm * (cut - 2.0 * a * ratio - a**2 / (cut + a) + a)
    soft_electrons = soft_electron_deflection(medium, energy)
    number, taken = moller_per_g(medium.z_over_a, energy, HARD_LOSS_MEV)
    loss = total_stopping_power(medium, energy) - taken
    return Scatter(
        np.log(energy),
        a,
        cut,
        hard,
        2.0 * first + soft_electrons,
        6.0 * (first - second) + 3.0 * soft_electrons,
        number,
        loss,
        csda_range(medium, energy),
        transport,
    )


def effective_z(medium: Material) -> float:
    """Atomic number that scatters like the material: Σ w Z²/A over Σ w Z/A."""
    upper = sum(w * z * z / ELEMENTS[z].atomic_weight for z, w in medium.mass_fractions.items())
    return upper / medium.z_over_a
