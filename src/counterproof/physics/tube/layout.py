"""What the compiled transport reads: the grid of cells and the tables of the materials.

Everything here is plain arrays in named tuples, built by :mod:`.grid` and :mod:`.tables`.
Energies in keV, lengths in cm.
"""

from __future__ import annotations

from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

Array = NDArray[np.float64]

MC2 = 510.99895  # electron rest energy, keV (CODATA 2018)
HC = 12.398420  # keV Å
VOID = -1
GAS = 0

# columns of Tables.electron
SOFT_LOSS = 0  # keV/cm lost without simulated collisions
ELASTIC = 1  # hard elastic collisions per cm
MOLLER = 2  # hard collisions with atomic electrons per cm
BREMS = 3  # hard bremsstrahlung photons per cm
G_SOFT = 4  # mean of 1 − cos θ per cm of the soft deflections
SCREEN = 5  # the screening parameter A
MU_CUT = 6  # cut-off of (1 − cos θ)/2
RANGE = 7  # CSDA range, cm
IONS = 8  # primary ionisations per cm (gas only)
ELECTRON_COLUMNS = 9

# columns of Tables.photon, 1/cm
TOTAL = 0
PHOTO = 1
INCOHERENT = 2
COHERENT = 3
PAIR = 4
PHOTON_COLUMNS = 5

# columns of Tables.atom
B_K = 0
B_L = 1
B_M = 2
OMEGA_K = 3
LINE_A = 4
LINE_B = 5
LINE_C = 6
SHARE_A = 7  # cumulative
SHARE_B = 8
ATOM_COLUMNS = 9
MAX_ATOMS = 8


class Grid(NamedTuple):
    """Cells of a body of rotation: rings between radii, slices between planes.

    Args:
        r: radii, shape (nr + 1,), from 0.
        z: planes, shape (nz + 1,).
        material: shape (nr, nz); index into the tables, ``GAS`` or ``VOID``.
        reach: shape (nr, nz); energy an electron needs at the cell's inner wall to go on to the
            gas straight through what lies between, 0 where that is gas or not known.
        gas_r: radius of the gas.
        gas_z: half length of the gas.
        anode_r: radius of the anode, 0 without.
    """

    r: Array
    z: Array
    material: NDArray[np.int64]
    reach: Array
    gas_r: float
    gas_z: float
    anode_r: float


class Tables(NamedTuple):
    """Cross sections of the materials on logarithmic grids of energy.

    Args:
        electron: shape (m, n, ELECTRON_COLUMNS).
        coarse: the same for longer steps, used where the last of an electron's way is followed.
        e_lo: ln of the lowest electron energy.
        e_inv: points per unit of ln E.
        cut: electrons below this energy are absorbed.
        moller_cut: least energy of a simulated collision with an atomic electron …
        moller_fraction: … or this fraction of the electron's energy, whichever is more.
        brems_cut: the same for bremsstrahlung.
        brems_fraction: the same for bremsstrahlung.
        max_loss: largest fraction of the energy lost in one step.
        follow_brems: 1.0 if bremsstrahlung photons are transported.
        photon: shape (m, n, PHOTON_COLUMNS).
        p_lo: ln of the lowest photon energy.
        p_inv: points per unit of ln E.
        p_cut: photons below this energy are absorbed.
        atom_share: shape (m, n, MAX_ATOMS), cumulative share of photoelectric absorption.
        k_share: shape (m, n, MAX_ATOMS), share of the K shell in it.
        atom: shape (m, MAX_ATOMS, ATOM_COLUMNS).
        x_lo: ln of the lowest momentum transfer sin(θ/2)/λ in 1/Å.
        x_inv: points per unit of ln x.
        bound: shape (m, n), incoherent scattering function per electron, 0 to 1.
        form: shape (m, n), cumulative integral of the squared form factor over x².
    """

    electron: Array
    coarse: Array
    e_lo: float
    e_inv: float
    cut: float
    moller_cut: float
    moller_fraction: float
    brems_cut: float
    brems_fraction: float
    max_loss: float
    follow_brems: float
    photon: Array
    p_lo: float
    p_inv: float
    p_cut: float
    atom_share: Array
    k_share: Array
    atom: Array
    x_lo: float
    x_inv: float
    bound: Array
    form: Array
