"""Effective wall of a tube in mg/cm² from an absorber series with known betas.

Each absorber before the tube adds to what the betas had to pass already; how steeply the rate falls
with it tells how thick that was. Model: rate = β T(absorber + wall) + γ A(absorber), with T the
number of electrons of the source's spectrum that come through
(:func:`counterproof.physics.electrons.transport.number_behind`), A the photons' narrow-beam
attenuation, β and γ free and not negative, the wall aluminium. Betas meet a wall at all angles
between upright and isotropic: both are fitted, the middle is given, and half their difference is
model uncertainty, beside that of the transport itself. Ranges: Katz and Penfold, Rev. Mod. Phys. 24
(1952) 28.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from functools import lru_cache
from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import NDArray

from counterproof.quantities import Estimate
from counterproof.records.run import Absorber as Absorber
from counterproof.trials.emitted import mean_photon_kev, spectrum_of

if TYPE_CHECKING:
    from counterproof.physics.sheets import Sheet

Floats = NDArray[np.float64]
FEWEST = 4  # absorbers, none included: two scales and a wall leave one to check
GRID = 48
TRANSPORT_U = 0.10  # of electrons through layers, as in physics' own budget


@dataclass(frozen=True, eq=False)
class WallFit:
    """What stands between the source's material and the gas.

    Args:
        total: in mg/cm² of aluminium, cover and air included; unbounded above when the series
            cannot bound it.
        misfit_p: whether the model describes the rates (upright betas).
        areal_mg_cm2: absorbers of the fitted curve, shape (n,).
        rate: fitted rates at them.
    """

    total: Estimate
    misfit_p: float
    areal_mg_cm2: Floats
    rate: Floats


def beta_range_mg_cm2(end_mev: float) -> float:
    """Return the extrapolated range of betas, Katz and Penfold (1952), from 0.01 MeV."""
    if end_mev > 2.5:
        return 530.0 * end_mev - 106.0
    return float(412.0 * end_mev ** (1.265 - 0.0954 * math.log(end_mev)))


def energy_of_range_mev(range_mg_cm2: float) -> float:
    """Return the end point whose betas just reach so far, 0.01 to 5 MeV."""
    grid = np.geomspace(0.01, 5.0, 400)
    return float(np.interp(range_mg_cm2, [beta_range_mg_cm2(float(e)) for e in grid], grid))


def end_point_mev(nuclides: Sequence[str]) -> float | None:
    """Return the energy above which a thousandth of the electrons lie, ``None`` without any."""
    spectrum = spectrum_of(nuclides)
    if spectrum is None or float(spectrum.electron_per_s.sum()) <= 0.0:
        return None
    beyond = np.cumsum(spectrum.electron_per_s[::-1])[::-1] / spectrum.electron_per_s.sum()
    return float(spectrum.electron_edges_kev[int(np.flatnonzero(beyond > 1e-3)[-1]) + 1]) * 1e-3


def sheet_of(absorber: Absorber) -> Sheet:
    """Return an absorber as physics' sheet.

    Raises:
        UserError: for an unknown material.
    """
    from counterproof.physics.sheets import sheet

    return sheet(absorber.material, absorber.thickness_mm, absorber.areal_density_mg_cm2)


def areal_of(absorbers: Sequence[Absorber]) -> float:
    """Return the mass per area of absorbers in mg/cm²."""
    return float(sum(sheet_of(a).areal_g_cm2 for a in absorbers) * 1e3)


def photon_share(absorbers: Sequence[Absorber], nuclides: Sequence[str]) -> float:
    """Return the narrow-beam transmission of the source's photons at their mean energy."""
    from counterproof.physics.attenuation import total

    energy = mean_photon_kev(nuclides)
    if energy is None:
        return 1.0
    sheets = [sheet_of(a) for a in absorbers]
    return math.exp(-sum(float(total(s.material, energy)) * s.areal_g_cm2 for s in sheets))


@lru_cache(maxsize=512)
def _passing(
    absorbers: tuple[Absorber, ...], nuclides: tuple[str, ...], reach: float, isotropic: bool
) -> Floats:
    """Share of the source's electrons behind absorbers and each wall of the grid."""
    from counterproof.physics.electrons.transport import number_behind
    from counterproof.physics.sheets import sheet

    spectrum = spectrum_of(nuclides)
    if spectrum is None:
        return np.zeros(GRID)
    sheets = [sheet_of(a) for a in absorbers]
    rate = spectrum.electron_per_s / spectrum.electron_per_s.sum()
    edges = spectrum.electron_edges_kev
    out = np.ones(GRID)
    for i, wall in enumerate(_walls(reach)):
        layers = [*sheets, sheet("Al", None, float(wall))] if wall > 0.0 else sheets
        if layers:
            out[i] = number_behind(layers, edges, rate, isotropic=isotropic).sum()
    return out


def _walls(reach: float) -> Floats:
    """Walls to try: from nothing to the hardest betas' range, finer where it is thin."""
    return np.asarray(np.linspace(0.0, math.sqrt(reach), GRID) ** 2, dtype=np.float64)


def fit_wall(
    series: Sequence[tuple[tuple[Absorber, ...], Estimate]], nuclides: Sequence[str]
) -> WallFit | None:
    """Fit the wall to net rates behind absorbers.

    Args:
        series: absorbers (none for the open run) with net rates; four or more.
        nuclides: of the source; their spectrum is what is fitted.

    Returns:
        The fit, or ``None`` for too few absorbers or a source without known betas.
    """
    from scipy.special import gammaincc

    end = end_point_mev(nuclides)
    if len(series) < FEWEST or end is None:
        return None
    key, reach = tuple(nuclides), beta_range_mg_cm2(end)
    rates = np.array([e.value for _, e in series])
    weight = 1.0 / np.array([e.u for _, e in series])
    photons = np.array([photon_share(a, key) for a, _ in series])
    dof = len(series) - 3
    ends, fits = [], []
    for isotropic in (False, True):
        passing = np.array([_passing(a, key, reach, isotropic) for a, _ in series])
        found = [_scales(column, photons, rates, weight) for column in passing.T]
        fits.append((found, passing))
        ends.append(_interval(np.array([f[0] for f in found]), _walls(reach), dof))
    middle = 0.5 * (ends[0][1] + ends[1][1])
    low, high = min(e[0] for e in ends), max(e[2] for e in ends)
    transport = 1.96 * TRANSPORT_U * middle
    low = max(0.0, middle - math.hypot(middle - low, transport))
    high = middle + math.hypot(high - middle, transport)
    found, passing = fits[0]
    best = int(np.argmin([f[0] for f in found]))
    chi2, beta, gamma = found[best]
    p = float(gammaincc(dof / 2.0, chi2 / 2.0))
    u = (high - low) / 3.92 if math.isfinite(high) else math.inf
    method = "absorber series; betas upright and isotropic, aluminium"
    total = Estimate(middle, u, low, high, 0.95, "mg/cm²", None, method)
    areal = np.array([areal_of(a) for a, _ in series])
    return WallFit(total, p, areal, beta * passing[:, best] + gamma * photons)


def _scales(
    betas: Floats, photons: Floats, rates: Floats, weight: Floats
) -> tuple[float, float, float]:
    """Least χ² over the scales of betas and photons, neither negative."""
    tries = [(float(((rates * weight) ** 2).sum()), 0.0, 0.0)]
    for use in ((1, 1), (1, 0), (0, 1)):
        design = np.stack([betas * use[0], photons * use[1]], axis=1) * weight[:, None]
        scale = np.linalg.lstsq(design, rates * weight, rcond=None)[0]
        if (scale >= 0.0).all():
            chi2 = float(((rates * weight - design @ scale) ** 2).sum())
            tries.append((chi2, float(scale[0]), float(scale[1])))
    return min(tries)


def _interval(chi2: Floats, walls: Floats, dof: int) -> tuple[float, float, float]:
    """Ends and best value of the wall: χ² within 3.84 of the least (widened by a misfit)."""
    fine = np.linspace(0.0, math.sqrt(walls[-1]), 40 * GRID) ** 2
    curve = np.interp(np.sqrt(fine), np.sqrt(walls), chi2)
    least = float(curve.min())
    inside = np.flatnonzero(curve <= least + 3.84 * max(1.0, least / dof))
    high = math.inf if inside[-1] == fine.size - 1 else float(fine[inside[-1]])
    return float(fine[inside[0]]), float(fine[int(curve.argmin())]), high
