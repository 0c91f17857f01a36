"""Fluorescence that layers send on: X-rays of their atoms, relative to the photons that pass.

The geometries are those of :mod:`counterproof.physics.scatter` (wide plate half-way, or layers
around the source); emission is isotropic. Yields, jumps and lines are xraylib's, by way of
:func:`counterproof.physics.xcom.fluorescence`. Escape and reabsorption inside the layers are
counted, fluorescence of fluorescence is not.
"""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
from numpy.typing import NDArray

from counterproof.physics import attenuation, xcom
from counterproof.physics.scatter import OPAQUE, mean_passed
from counterproof.physics.sheets import Sheet

Array = NDArray[np.float64]

LEAST_KEV = 5.0
_NODES = 16


def _emitters(layer: Sheet, energy_kev: Array) -> list[tuple[float, Array]]:
    """Lines of a layer: energy, and photons per incident photon and g/cm² of it, shape (n,)."""
    out = []
    for z, w in layer.material.mass_fractions.items():
        photo = w * xcom.mass_coefficients(z, energy_kev)[0]
        left = np.ones(energy_kev.size)
        for edge, share, fluorescence_yield, lines in xcom.fluorescence(z).values():
            if edge < LEAST_KEV:
                break
            here = np.where(energy_kev > edge, left * share, 0.0)
            left = np.where(energy_kev > edge, left * (1.0 - share), left)
            for line_kev, part in lines:
                emitted = photo * here * fluorescence_yield * part
                if line_kev >= LEAST_KEV and emitted.any():
                    out.append((line_kev, emitted))
    return out


def _path(sheets: Sequence[Sheet], energy_kev: Array) -> Array:
    out = np.zeros(energy_kev.size)
    for layer in sheets:
        out += attenuation.total(layer.material, energy_kev) * layer.areal_g_cm2
    return out


def _fluoresced(sheets: Sequence[Sheet], energy_kev: Array, around: bool) -> tuple[Array, Array]:
    nodes, weights = np.polynomial.legendre.leggauss(_NODES)
    if around:
        exit_cosine, entry_cosine = nodes, np.ones(_NODES)
        weight = weights / 2.0
    else:
        psi = (nodes + 1.0) / 4.0 * np.pi
        exit_cosine = entry_cosine = np.cos(psi)
        weight = 2.0 * np.sin(psi) * np.cos(psi) * weights / 4.0 * np.pi
    slant = 1.0 / np.maximum(np.abs(exit_cosine), 0.05)
    whole = np.exp(np.minimum(_path(sheets, energy_kev), OPAQUE))[:, None]
    energies: list[float] = []
    ratios: list[Array] = []
    for i, layer in enumerate(sheets):
        a = (attenuation.total(layer.material, energy_kev) * layer.areal_g_cm2)[:, None]
        a = a / entry_cosine
        before = _path(sheets[:i], energy_kev)[:, None] / entry_cosine
        for line_kev, emitted in _emitters(layer, energy_kev):
            at = np.array([line_kev])
            b = float(attenuation.total(layer.material, at)[0]) * layer.areal_g_cm2 * slant
            onward = float(_path(sheets[i + 1 :], at)[0]) * slant
            passed = mean_passed(a, np.broadcast_to(b, a.shape)) * np.exp(-onward)
            if around:  # what goes inwards has to cross the layers on the other side
                inward = float(_path(sheets[:i], at)[0]) * slant + float(_path(sheets, at)[0])
                back = mean_passed(a + b, np.zeros_like(a + b)) * np.exp(-inward)
                passed = np.where(exit_cosine > 0.0, passed, back)
            passed = (passed * np.exp(-before) * whole * weight).sum(axis=1)
            energies.append(line_kev)
            ratios.append(emitted * layer.areal_g_cm2 * passed)
    if not energies:
        return np.zeros(0), np.zeros((energy_kev.size, 0))
    return np.array(energies), np.stack(ratios, axis=1)


def fluorescence_behind(sheets: Sequence[Sheet], energy_kev: Array) -> tuple[Array, Array]:
    """Fluorescence of plates half-way over the photons that pass them.

    Args:
        sheets: the plates, from the source outwards.
        energy_kev: photon energies, shape (n,).

    Returns:
        Line energies, shape (m,), and ratios, shape (n, m).
    """
    return _fluoresced(sheets, energy_kev, around=False)


def fluorescence_around(sheets: Sequence[Sheet], energy_kev: Array) -> tuple[Array, Array]:
    """Fluorescence of layers around the source; as :func:`fluorescence_behind`."""
    return _fluoresced(sheets, energy_kev, around=True)
