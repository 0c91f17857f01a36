"""Bremsstrahlung of electrons that slow down in layers.

Thick-target spectrum of H. A. Kramers, Philos. Mag. 46 (1923) 836, per electron of energy T:
``n(k) = 2 Y(T) (1/k − 1/T)``, scaled so that the energy radiated is ESTAR's radiation yield Y(T)·T.
Photons are taken to go on in the direction of their electron; on the axis that equals an isotropic
source. True spectra are harder near the end point and the direction matters at MeV energies: the
result is good to about 30 %.
"""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
from numpy.typing import NDArray

from counterproof.physics import attenuation
from counterproof.physics.materials import Material
from counterproof.physics.sheets import Sheet
from counterproof.physics.stopping import csda_range, energy_of_range, radiation_yield

Array = NDArray[np.float64]

LOWEST_KEV = 5.0


def photon_edges_kev(highest_kev: float, bins: int = 60) -> Array:
    """Edges for bremsstrahlung: even in the logarithm from 5 keV to the highest energy."""
    return np.geomspace(LOWEST_KEV, max(highest_kev, LOWEST_KEV * 2.0), bins + 1)


def stopped_spectrum(medium: Material, energy_kev: Array, number: Array, edges_kev: Array) -> Array:
    """Photons per bin from electrons that stop in a medium.

    Args:
        medium: where they stop.
        energy_kev: electron energies, shape (n,).
        number: electrons of each energy, shape (n,).
        edges_kev: photon bins, shape (m + 1,).
    """
    use = (energy_kev > LOWEST_KEV) & (number != 0.0)
    if not use.any():
        return np.zeros(edges_kev.size - 1)
    t = energy_kev[use][:, None]
    radiated = radiation_yield(medium, energy_kev[use] * 1e-3)[:, None]
    top = np.minimum(edges_kev[None, :], t)
    # ∫ (1/k − 1/T) dk
    integral = np.log(top) - top / t
    out = 2.0 * radiated * np.diff(integral, axis=1)
    return np.asarray((number[use][:, None] * out).sum(axis=0), dtype=np.float64)


def from_layers(
    sheets: Sequence[Sheet],
    energy_kev: Array,
    number: Array,
    edges_kev: Array,
    *,
    attenuate: bool = True,
) -> tuple[Array, Array]:
    """Photons that leave a stack of layers, and the energy (keV per s) radiated inside.

    Electrons lose energy along straight tracks; photons born in a layer pass half of it and all
    that follow.

    Args:
        sheets: from the source outwards.
        energy_kev: electron energies, shape (n,).
        number: electrons per second of each energy.
        edges_kev: photon bins, shape (m + 1,).
        attenuate: by the layers themselves; ``False`` gives the photons as they are born.
    """
    middle = np.sqrt(edges_kev[1:] * edges_kev[:-1])
    out = np.zeros(middle.size)
    radiated = 0.0
    left = energy_kev.copy()
    for i, layer in enumerate(sheets):
        reach = csda_range(layer.material, np.maximum(left, 1.0) * 1e-3)
        after = energy_of_range(layer.material, np.maximum(reach - layer.areal_g_cm2, 0.0)) * 1e3
        after = np.where(left > 1.0, after, 0.0)
        born = stopped_spectrum(layer.material, left, number, edges_kev)
        born -= stopped_spectrum(layer.material, after, number, edges_kev)
        born = np.maximum(born, 0.0)
        radiated += float((born * middle).sum())
        path = np.zeros(middle.size)
        if attenuate:
            path = attenuation.total(layer.material, middle) * layer.areal_g_cm2 / 2.0
        for outer in sheets[i + 1 :] if attenuate else ():
            path = path + attenuation.total(outer.material, middle) * outer.areal_g_cm2
        out += born * np.exp(-path)
        left = after
    return out, np.array(radiated)
