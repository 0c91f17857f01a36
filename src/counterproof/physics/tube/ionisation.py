"""Primary ionisation of fill gases: how many ionising collisions a fast electron makes per cm.

The asymptotic Bethe cross section for primary ionisation by electrons with the constants measured
by F. F. Rieke and W. Prepejchal, Phys. Rev. A 6 (1972) 1507:

    σ = 1.874e-20 cm² · (M² x₁ + C x₂),  x₂ = 1/β²,  x₁ = ln(β²/(1 − β²))/β² − 1

Measured for 0.1 to 2.7 MeV; used down to 1 keV, where a crossing of any counter ionises with
certainty. Mixtures add by number of molecules. What excited atoms do to an admixture (Penning
ionisation) is left out and is part of the uncertainty stated in :data:`RELATIVE_U`.
"""

from __future__ import annotations

import numpy as np

from counterproof.physics.elements import ELEMENTS
from counterproof.physics.materials import Material
from counterproof.physics.tube.layout import MC2, Array

RELATIVE_U = 0.15
"""Relative standard uncertainty of the specific primary ionisation (fit, admixtures, Penning)."""

_AVOGADRO = 6.02214076e23
# M² and C per atom (noble gases) or per molecule; Rieke & Prepejchal 1972, table I
_ATOMS = {
    2: (0.745, 8.005),
    10: (2.02, 18.17),
    18: (4.22, 37.93),
    36: (6.09, 52.38),
    54: (8.04, 72.35),
}
_PAIRS = {1: (0.695, 8.115), 7: (3.74, 34.84), 8: (4.20, 38.84)}


def primary_ionisation_per_cm(gas: Material, energy_kev: Array) -> Array:
    """Ionising collisions per cm of path in ``gas`` at its density.

    Elements without measured constants (halogens, carbon, …) take the value per electron of the
    nearest measured neighbour in the list.
    """
    e = np.asarray(energy_kev, dtype=np.float64)
    tau = e / MC2
    beta2 = tau * (tau + 2.0) / (1.0 + tau) ** 2
    x2 = 1.0 / beta2
    x1 = x2 * np.log(beta2 / (1.0 - beta2)) - 1.0
    out = np.zeros(np.shape(e))
    for z, w in gas.mass_fractions.items():
        atoms = w * gas.density_g_cm3 * _AVOGADRO / ELEMENTS[z].atomic_weight
        if z in _ATOMS:
            m2, c = _ATOMS[z]
        elif z in _PAIRS:
            m2, c = (0.5 * v for v in _PAIRS[z])
        else:
            near = min({**_ATOMS, 7: (0.0, 0.0)}, key=lambda k: abs(k - z))
            base = _ATOMS.get(near) or tuple(0.5 * v for v in _PAIRS[7])
            m2, c = (v * z / near for v in base)
        out = out + atoms * 1.874e-20 * np.maximum(m2 * x1 + c * x2, 0.0)
    return out
