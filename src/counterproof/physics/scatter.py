"""Photons scattered once in an absorber plate, relative to those that pass it untouched.

A plate that is wide against its distance, half-way between source and detector: a photon leaves the
source at an angle ψ to the axis, is scattered by 2ψ and reaches the detector. The ratio does not
depend on the distance. Klein–Nishina cross section of free electrons; photons scattered twice are
left out, which is the error for plates thicker than a mean free path. A narrow plate scatters less.
"""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
from numpy.typing import NDArray

from counterproof.physics import attenuation
from counterproof.physics.attenuation import ELECTRON_REST_KEV
from counterproof.physics.sheets import Sheet

Array = NDArray[np.float64]

_RE2_CM2 = 7.9407877e-26
_AVOGADRO = 6.02214076e23
_NODES = 24


def klein_nishina_cm2_sr(energy_kev: Array, cosine: Array) -> tuple[Array, Array]:
    """Differential cross section per electron in cm²/sr and scattered energy in keV."""
    kept = 1.0 / (1.0 + energy_kev / ELECTRON_REST_KEV * (1.0 - cosine))
    cross = 0.5 * _RE2_CM2 * kept**2 * (kept + 1.0 / kept - 1.0 + cosine**2)
    return cross, energy_kev * kept


def scattered_once(sheets: Sequence[Sheet], energy_kev: Array) -> tuple[Array, Array]:
    """Single-scatter fluence over uncollided fluence behind a stack of plates.

    Args:
        sheets: the plates.
        energy_kev: photon energies, shape (n,).

    Returns:
        ``(scattered_kev, ratio)``, both (n, nodes): energies after scattering and fluence in each
        node of the angle, to be added.
    """
    nodes, weights = np.polynomial.legendre.leggauss(_NODES)
    psi = (nodes + 1.0) / 4.0 * np.pi
    weight = weights / 4.0 * np.pi
    cross, after = klein_nishina_cm2_sr(energy_kev[:, None], np.cos(2.0 * psi)[None, :])
    before_path = sum(attenuation.total(s.material, energy_kev) * s.areal_g_cm2 for s in sheets)
    clipped = np.maximum(after, 1.0)
    after_path = sum(attenuation.total(s.material, clipped) * s.areal_g_cm2 for s in sheets)
    electrons = sum(s.areal_g_cm2 * s.material.z_over_a for s in sheets) * _AVOGADRO
    a = np.asarray(before_path)[:, None] / np.cos(psi)
    b = np.asarray(after_path) / np.cos(psi)
    # mean over the depth of exp(−a x − b (1 − x)), relative to exp(−a cos ψ)
    gap = a - b
    small = np.abs(gap) < 1e-6
    safe = np.where(small, 1.0, gap)
    mean = np.where(small, np.exp(-a), (np.exp(-b) - np.exp(-a)) / safe)
    mean = mean * np.exp(np.asarray(before_path))[:, None]
    ratio = 8.0 * np.pi * np.sin(psi) * np.cos(psi) * cross * electrons * mean * weight
    return after, ratio
