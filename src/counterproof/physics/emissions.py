"""What a nuclide emits per decay: photons, beta spectra, conversion and Auger electrons.

Data: ICRP Publication 107 (2008) through the package icrp107-database; daughters are never
included, take them from :mod:`counterproof.physics.nuclides`. Energies in keV. Positrons are taken
to annihilate in the source: their 511 keV photons are in the list, their spectrum is left out.
"""

from __future__ import annotations

import json
from collections.abc import Mapping
from functools import cache
from typing import Any, NamedTuple

import numpy as np
from numpy.typing import NDArray

from counterproof.physics.decaydata import nuclide_name
from counterproof.physics.xcom import package_file

Array = NDArray[np.float64]

PHOTON_CUT_KEV = 1.0
ELECTRON_CUT_KEV = 1.0


class Emission(NamedTuple):
    """Emissions of one nuclide per decay.

    Args:
        photon_kev: photon energies, shape (p,), rising.
        photon_yield: photons per decay.
        photon_kind: ``"gamma"``, ``"X"`` or ``"annihilation"`` for each.
        electron_kev: conversion and Auger electrons, shape (e,), rising.
        electron_yield: electrons per decay.
        electron_kind: ``"conversion"`` or ``"Auger"``.
        beta_kev: grid of the continuous spectrum of beta minus, shape (b,); may be empty.
        beta_per_kev: betas per decay and keV on that grid.
        beta_end_kev: largest end point; 0 without betas.
    """

    photon_kev: Array
    photon_yield: Array
    photon_kind: tuple[str, ...]
    electron_kev: Array
    electron_yield: Array
    electron_kind: tuple[str, ...]
    beta_kev: Array
    beta_per_kev: Array
    beta_end_kev: float

    @property
    def betas_per_decay(self) -> float:
        """Integral of the beta spectrum."""
        return float(np.trapezoid(self.beta_per_kev, self.beta_kev))

    @property
    def beta_mean_kev(self) -> float:
        """Mean energy of the beta spectrum; 0 without betas."""
        whole = self.betas_per_decay
        if whole == 0.0:
            return 0.0
        return float(np.trapezoid(self.beta_kev * self.beta_per_kev, self.beta_kev)) / whole


def _lines(data: Mapping[str, Any], names: dict[str, str], cut: float) -> tuple[Array, Array, Any]:
    rows = sorted(
        (float(e) * 1e3, float(y), label)
        for key, label in names.items()
        for e, y in data.get(key, ())
        if float(e) * 1e3 >= cut and float(y) > 0.0
    )
    energies = np.array([row[0] for row in rows])
    yields = np.array([row[1] for row in rows])
    return energies, yields, tuple(row[2] for row in rows)


@cache
def emission(nuclide: str) -> Emission:
    """Emissions of one nuclide, without its daughters.

    Raises:
        UserError: unknown nuclide.
    """
    name = nuclide_name(nuclide)
    raw = json.loads(package_file("icrp107_database", f"icrp107/{name}.json").read_text("utf-8"))
    if isinstance(raw, str):  # the package stores JSON inside a JSON string
        raw = json.loads(raw)
    data = raw["emissions"]
    photons = _lines(
        data, {"gamma": "gamma", "X": "X", "annihilation": "annihilation"}, PHOTON_CUT_KEV
    )
    electrons = _lines(data, {"IE": "conversion", "auger": "Auger"}, ELECTRON_CUT_KEV)
    spectrum = np.array(data["b-spectra"], dtype=np.float64).reshape(-1, 2)
    minus = sum(y for _, y in data["beta-"])
    plus = sum(y for _, y in data["beta+"])
    share = minus / (minus + plus) if minus + plus > 0.0 else 0.0
    if share == 0.0:
        spectrum = spectrum[:0]
    grid = spectrum[:, 0] * 1e3
    # the list holds beta minus and plus together: where a nuclide has both, split by yield
    density = spectrum[:, 1] * 1e-3 * share
    end = float(grid[-1]) if grid.size else 0.0
    return Emission(*photons, *electrons, grid, density, end)


class Spectrum(NamedTuple):
    """Emission rate of a whole source: lines and binned electrons, per second.

    Args:
        photon_kev: shape (p,), rising.
        photon_per_s: photons per second.
        photon_kind: kind of each.
        photon_parent: nuclide of each.
        electron_edges_kev: shape (n + 1,), bins for all electrons.
        electron_per_s: electrons per second in each bin, shape (n,).
    """

    photon_kev: Array
    photon_per_s: Array
    photon_kind: tuple[str, ...]
    photon_parent: tuple[str, ...]
    electron_edges_kev: Array
    electron_per_s: Array


def electron_edges_kev(highest_kev: float, bins: int = 120) -> Array:
    """Bin edges for electrons: from 1 keV to ``highest_kev``, finer at the low end.

    Equal steps of the square root of the energy, a compromise between logarithmic bins (too wide
    for a conversion line at 624 keV) and linear ones (too wide at 20 keV).
    """
    low = np.sqrt(ELECTRON_CUT_KEV)
    return np.linspace(low, np.sqrt(max(highest_kev, 10.0)), bins + 1) ** 2


def _shared(energy_kev: Array, weight: Array, edges_kev: Array) -> Array:
    """Bin lines so that number and energy are kept: each is shared by the two nearest bins."""
    middle = (edges_kev[1:] + edges_kev[:-1]) / 2.0
    place = np.interp(energy_kev, middle, np.arange(middle.size, dtype=np.float64))
    low = np.minimum(place.astype(np.int64), middle.size - 2)
    up = place - low
    out = np.bincount(low, weight * (1.0 - up), middle.size)
    return np.asarray(out + np.bincount(low + 1, weight * up, middle.size), dtype=np.float64)


def source_spectrum(activities_bq: Mapping[str, float], least_share: float = 1e-7) -> Spectrum:
    """Add up the emissions of every nuclide of an inventory.

    Args:
        activities_bq: activities by nuclide.
        least_share: photon lines below this share of the most intense one are dropped.
    """
    known = {name: emission(name) for name, a in activities_bq.items() if a > 0.0}
    rows = [
        (energy, rate * activities_bq[name], kind, name)
        for name, em in known.items()
        for energy, rate, kind in zip(em.photon_kev, em.photon_yield, em.photon_kind, strict=True)
    ]
    most = max((row[1] for row in rows), default=0.0)
    rows = sorted(row for row in rows if row[1] >= least_share * most)
    highest = max(
        (
            max(em.beta_end_kev, float(em.electron_kev[-1]) if em.electron_kev.size else 0.0)
            for em in known.values()
        ),
        default=0.0,
    )
    edges = electron_edges_kev(highest * 1.0005)
    per_s = np.zeros(edges.size - 1)
    for name, em in known.items():
        if em.beta_kev.size:
            # cumulative integral of a piecewise linear density, exact at every edge
            steps = np.diff(em.beta_kev) * (em.beta_per_kev[1:] + em.beta_per_kev[:-1]) / 2.0
            inside = np.clip(edges, em.beta_kev[0], em.beta_kev[-1])
            at = np.clip(np.searchsorted(em.beta_kev, inside, side="right") - 1, 0, steps.size - 1)
            cumulative = np.append(0.0, np.cumsum(steps))
            into = inside - em.beta_kev[at]
            slope = np.diff(em.beta_per_kev)[at] / np.diff(em.beta_kev)[at]
            value = cumulative[at] + into * (em.beta_per_kev[at] + slope * into / 2.0)
            per_s += activities_bq[name] * np.diff(value)
        if em.electron_kev.size:
            per_s += activities_bq[name] * _shared(em.electron_kev, em.electron_yield, edges)
    return Spectrum(
        np.array([row[0] for row in rows]),
        np.array([row[1] for row in rows]),
        tuple(row[2] for row in rows),
        tuple(row[3] for row in rows),
        edges,
        per_s,
    )
