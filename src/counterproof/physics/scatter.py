"""Photons scattered once in layers, relative to those that pass them untouched.

In absorbers (:func:`scattered_once`): a plate that is wide against its distance, half-way between
source and detector; a photon leaves the source at an angle ψ to the axis, is scattered by 2ψ and
reaches the detector. The ratio does not depend on the distance. A narrow plate scatters less.

In a cover (:func:`scattered_in_cover`): layers around the source; what is scattered out of one
direction is made up for by all others.

Klein–Nishina cross section of free electrons; photons scattered twice are left out, which is the
error for layers thicker than a mean free path.
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
OPAQUE = 600.0
"""Mean free paths that nothing passes; beyond, a ratio to what passes would overflow."""


def klein_nishina_cm2_sr(energy_kev: Array, cosine: Array) -> tuple[Array, Array]:
    """Differential cross section per electron in cm²/sr and scattered energy in keV."""
    kept = 1.0 / (1.0 + energy_kev / ELECTRON_REST_KEV * (1.0 - cosine))
    cross = 0.5 * _RE2_CM2 * kept**2 * (kept + 1.0 / kept - 1.0 + cosine**2)
    return cross, energy_kev * kept


def mean_passed(a: Array, b: Array) -> Array:
    """Mean over 0 < x < 1 of exp(−a x − b (1 − x))."""
    gap = a - b
    small = np.abs(gap) < 1e-6
    safe = np.where(small, 1.0, gap)
    return np.asarray(np.where(small, np.exp(-a), (np.exp(-b) - np.exp(-a)) / safe))


def scattered_in_cover(sheets: Sequence[Sheet], energy_kev: Array) -> tuple[Array, Array]:
    """Photons scattered once in layers around a source, over those that leave untouched.

    A photon scattered forwards by θ leaves through the rest of the layer at the slant 1/cos θ; one
    scattered backwards leaves through what it has passed and the layer on the other side.

    Args:
        sheets: the layers.
        energy_kev: photon energies, shape (n,).

    Returns:
        ``(scattered_kev, ratio)``, both (n, nodes), as :func:`scattered_once`.
    """
    cosine, weight = np.polynomial.legendre.leggauss(_NODES)
    cross, after = klein_nishina_cm2_sr(energy_kev[:, None], cosine[None, :])
    a = sum(attenuation.total(s.material, energy_kev) * s.areal_g_cm2 for s in sheets)
    clipped = np.maximum(after, 1.0)
    b = sum(attenuation.total(s.material, clipped) * s.areal_g_cm2 for s in sheets)
    electrons = sum(s.areal_g_cm2 * s.material.z_over_a for s in sheets) * _AVOGADRO
    before, slanted = np.asarray(a)[:, None], np.asarray(b) / np.maximum(np.abs(cosine), 0.05)
    forward = mean_passed(before + 0.0 * slanted, slanted)
    backward = mean_passed(before + slanted, 0.0 * slanted) * np.exp(-np.asarray(b))
    passed = np.where(cosine > 0.0, forward, backward) * np.exp(np.minimum(before, OPAQUE))
    return after, 2.0 * np.pi * cross * electrons * passed * weight


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
    mean = mean_passed(a, b) * np.exp(np.minimum(np.asarray(before_path), OPAQUE))[:, None]
    ratio = 8.0 * np.pi * np.sin(psi) * np.cos(psi) * cross * electrons * mean * weight
    return after, ratio
