"""Effective wall of a tube in mg/cm² from an absorber series with known betas.

Each absorber before the tube adds to what the betas had to pass already; how steeply the rate falls
with it tells how thick that was. Model: rate = β T + γ A(absorber), with T the electrons that enter
the gas, A the photons' narrow-beam attenuation, β and γ free and not negative, the wall aluminium.

T follows the field's own physics (:mod:`counterproof.physics.electrons.transport`): the source's
spectrum through its cover and the absorbers, which stand close to it and act like the cover, then
the air and the wall. (Against the tube itself a plate costs far more, because what it scatters
misses the gas.) Electrons meet a window upright and the side of a cylinder at all slants, those at
the relative height b along 1/√(1 - b²) times the wall. Which of the two a tube has is not known, so
both are fitted, the middle is given, and half their difference is model uncertainty, beside that of
the transport itself. Ranges: Katz and Penfold, Rev. Mod. Phys. 24 (1952) 28.
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
GRID = 72
SLANTS = 6  # heights of a cylinder's side that stand for all
AIR_MG_CM2_PER_CM = 1.2  # dry air at 20 °C
TRANSPORT_U = 0.10  # of electrons through layers, as in physics' own budget


@dataclass(frozen=True)
class Between:
    """What is known to stand between the activity and the absorbers.

    Args:
        cover_mg_cm2: the source's cover, taken as aluminium; 0 where it is not known.
        air_cm: from source to tube; 0 where it is not known.
    """

    cover_mg_cm2: float = 0.0
    air_cm: float = 0.0

    @property
    def areal_mg_cm2(self) -> float:
        """Mass per area of both."""
        return self.cover_mg_cm2 + AIR_MG_CM2_PER_CM * self.air_cm


@dataclass(frozen=True, eq=False)
class WallFit:
    """What stands between the source's material and the gas.

    Args:
        wall: in mg/cm² of aluminium, without the cover and the air that are known; unbounded above
            when the series cannot bound it.
        known: cover and air that the fit took into account.
        misfit_p: whether the model describes the rates (the best geometry).
        areal_mg_cm2: absorbers of the fitted curve, shape (n,).
        rate: fitted rates at them.
    """

    wall: Estimate
    known: Between
    misfit_p: float
    areal_mg_cm2: Floats
    rate: Floats

    @property
    def through(self) -> float:
        """All that betas pass on their way to the gas without absorbers, mg/cm²."""
        return self.wall.value + self.known.areal_mg_cm2


NOTHING = Between()


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
def _arriving(
    absorbers: tuple[Absorber, ...], nuclides: tuple[str, ...], known: Between
) -> tuple[Floats, Floats]:
    """Edges and fluence of the electrons behind cover, absorbers and air, for one electron sent."""
    from counterproof.physics.electrons import transport
    from counterproof.physics.sheets import sheet

    spectrum = spectrum_of(nuclides)
    if spectrum is None:
        return np.zeros(2), np.zeros(1)
    edges = spectrum.electron_edges_kev
    rate = spectrum.electron_per_s / spectrum.electron_per_s.sum()
    sheets = [sheet_of(a) for a in absorbers]
    cover = [sheet("Al", None, known.cover_mg_cm2)] if known.cover_mg_cm2 > 0.0 else []
    if over := [*cover, *sheets]:
        rate = transport.through_cover(over, edges, rate)
    if known.air_cm > 0.0:
        rate = transport.in_air(np.array([known.air_cm]), edges, rate)[0]
    return edges, rate


@lru_cache(maxsize=512)
def _behind_walls(
    absorbers: tuple[Absorber, ...],
    nuclides: tuple[str, ...],
    known: Between,
    reach: float,
) -> Floats:
    """Electrons that come upright through each wall of the grid, behind absorbers."""
    from counterproof.physics.electrons.transport import number_behind
    from counterproof.physics.sheets import sheet

    edges, fluence = _arriving(absorbers, nuclides, known)
    out = np.full(GRID, float(fluence.sum()))
    for i, wall in enumerate(_walls(reach)):
        if wall > 0.0:
            layer = [sheet("Al", None, float(wall))]
            out[i] = float(number_behind(layer, edges, fluence).sum())
    return out


def _entering(upright: Floats, reach: float, side: bool) -> Floats:
    """Electrons that enter the gas through each wall of the grid: window or cylinder's side."""
    if not side:
        return upright
    walls = _walls(reach)
    out = np.zeros(GRID)
    nodes, weights = np.polynomial.legendre.leggauss(SLANTS)
    for b, share in zip((nodes + 1.0) / 2.0, weights / 2.0, strict=True):
        slanted = walls / math.sqrt(1.0 - b * b)
        out += share * np.interp(np.sqrt(slanted), np.sqrt(walls), upright, right=0.0)
    return out


def _walls(reach: float) -> Floats:
    """Walls to try: from nothing to the hardest betas' range, finer where it is thin."""
    return np.asarray(np.linspace(0.0, math.sqrt(reach), GRID) ** 2, dtype=np.float64)


def fit_wall(
    series: Sequence[tuple[tuple[Absorber, ...], Estimate]],
    nuclides: Sequence[str],
    known: Between = NOTHING,
) -> WallFit | None:
    """Fit the wall to net rates behind absorbers.

    Args:
        series: absorbers (none for the open run) with net rates; four or more.
        nuclides: of the source; their spectrum is what is fitted.
        known: cover and air.

    Returns:
        The fit, or ``None`` for too few absorbers or a source without known betas.
    """
    from scipy.special import gammaincc

    end = end_point_mev(nuclides)
    if len(series) < FEWEST or end is None:
        return None
    key, reach = tuple(nuclides), beta_range_mg_cm2(end)
    rates = np.array([e.value for _, e in series])
    counted = np.array([e.u for _, e in series])
    # transmission is known to a tenth at each absorber; what the last one leaves is no transmission
    weight = 1.0 / np.hypot(counted, TRANSPORT_U * np.maximum(rates - rates[-1], 0.0))
    photons = np.array([photon_share(a, key) for a, _ in series])
    dof = len(series) - 3
    upright = [_behind_walls(a, key, known, reach) for a, _ in series]
    ends, fits = [], []
    for side in (False, True):
        passing = np.array([_entering(one, reach, side) for one in upright])
        found = [_scales(column, photons, rates, weight) for column in passing.T]
        least = min(range(len(found)), key=lambda i: found[i][0])
        fits.append((*found[least], passing[:, least]))
        ends.append(_interval(np.array([f[0] for f in found]), _walls(reach), dof))
    middle = 0.5 * (ends[0][1] + ends[1][1])
    low, high = min(e[0] for e in ends), max(e[2] for e in ends)
    chi2, beta, gamma, entering = min(fits, key=lambda f: f[0])
    p = float(gammaincc(dof / 2.0, chi2 / 2.0))
    u = (high - low) / 3.92 if math.isfinite(high) else math.inf
    method = "absorber series; betas on a window and on a cylinder's side, aluminium"
    wall = Estimate(middle, u, low, high, 0.95, "mg/cm²", None, method)
    areal = np.array([areal_of(a) for a, _ in series])
    return WallFit(wall, known, p, areal, beta * entering + gamma * photons)


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
