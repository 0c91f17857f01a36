"""Elastic scattering of electrons by atoms: first and second transport cross sections."""

from __future__ import annotations

import numpy as np

from counterproof.physics.tube.layout import MC2, Array

A0 = 0.529177210903  # Å
HBARC = 1.973269804  # keV Å
ALPHA = 7.2973525693e-3
RE2 = 0.07940787  # barn


def screened_rutherford(z: int, energy_kev: Array) -> tuple[Array, Array]:
    """Screening parameter A (Molière) and first transport cross section in cm² per atom."""
    e = np.asarray(energy_kev, dtype=np.float64)
    tau = e / MC2
    bg2 = tau * (tau + 2.0)
    beta2 = bg2 / (1.0 + tau) ** 2
    pc = MC2 * np.sqrt(bg2)
    a = 0.885341 * A0 * z ** (-1.0 / 3.0)
    A = 0.25 * (HBARC / (pc * a)) ** 2 * (1.13 + 3.76 * (ALPHA * z) ** 2 / beta2)
    s1 = 2.0 * np.pi * RE2 * 1e-24 * z * z / (beta2 * bg2) * (np.log1p(1.0 / A) - 1.0 / (1.0 + A))
    return A, s1
