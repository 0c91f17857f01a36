"""Response of a tube over energy: effective area, counts per dose, statistical and model parts.

What to use when: :func:`response_curve` for photons in a parallel beam or a rotational field,
:func:`electron_curve` for external electrons, :func:`near_factor` for how a near source differs
from a parallel beam. Method ``"kernel"`` is quadrature over tabulated electron escape
(:mod:`.quadrature`), quick and without statistical scatter; ``"mc"`` is the Monte Carlo
(:mod:`.run`), which it is held against.
"""

from __future__ import annotations

import math
import time
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any, Literal

import numpy as np

from counterproof.errors import UserError
from counterproof.physics import dose
from counterproof.physics.tube.geometry import Tube
from counterproof.physics.tube.ionisation import RELATIVE_U
from counterproof.physics.tube.layout import Array
from counterproof.physics.tube.model import TubeModel
from counterproof.progress import Report, silent, step
from counterproof.texts import text

Method = Literal["kernel", "mc"]
DEFAULT_METHOD: Method = "kernel"

CS137_KEV = 661.657
LOWEST_KEV, HIGHEST_KEV = 5.0, 3500.0
FLOOR = 5e-4
"""Statistical precision asked for at 1 %: of the point, or this share of the 662 keV value."""
TRANSPORT_U = 0.03
"""Relative standard uncertainty of electron transport (from the comparisons in the theory page)."""
KERNEL_U = 0.03
"""Relative standard uncertainty that the kernel adds (from its comparison with the Monte Carlo)."""
PHOTON_U = 0.02
"""Relative standard uncertainty of photon cross sections, 10 keV to 3 MeV (NIST XCOM)."""
GRID_KEV: Array = np.geomspace(30.0, 2000.0, 40)
"""Energies of a curve when none are asked for."""
_SPREAD_KEV: Array = np.geomspace(25.0, 2500.0, 9)
_TURN_DEG = tuple(float(a) for a in (np.arange(10) + 0.5) * 18.0)
_DISC_POINTS = 12


@dataclass(frozen=True)
class Curve:
    """Response over energy; arrays of shape (n,).

    Args:
        energy_kev: photon or electron energies.
        effective_area_cm2: counts per unit fluence.
        u_stat_effective_area_cm2: statistical standard uncertainty.
        u_model_effective_area_cm2: transport, cross sections, primary ionisation, unknown design.
        entry_area_cm2: electrons ≥ 1 keV entering or starting in the gas, per unit fluence.
        u_stat_entry_area_cm2: statistical.
        u_model_entry_area_cm2: as above without primary ionisation.
        u_design: relative part of unknown dimensions in the effective area.
        angle_deg: between axis and source; ``None`` for a rotational field.
        cpu_s: processor time.
    """

    energy_kev: Array
    effective_area_cm2: Array
    u_stat_effective_area_cm2: Array
    u_model_effective_area_cm2: Array
    entry_area_cm2: Array
    u_stat_entry_area_cm2: Array
    u_model_entry_area_cm2: Array
    u_design: Array
    angle_deg: float | None
    cpu_s: float

    def area_at(self, energy_kev: Array) -> Array:
        """Effective area between the points, linear in ln E; the ends are held."""
        return np.interp(np.log(energy_kev), np.log(self.energy_kev), self.effective_area_cm2)

    def u_model_at(self, energy_kev: Array) -> Array:
        """Relative model uncertainty between the points."""
        share = self.u_model_effective_area_cm2 / np.maximum(self.effective_area_cm2, 1e-300)
        return np.interp(np.log(energy_kev), np.log(self.energy_kev), share)

    @property
    def counts_per_usv(self) -> Array:
        """Counts per µSv of H*(10) of photons (ICRP 74)."""
        return per_usv(self.energy_kev, self.effective_area_cm2)

    @property
    def counts_per_ugy(self) -> Array:
        """Counts per µGy of air kerma."""
        return self.effective_area_cm2 * 3600.0 / dose.air_kerma_per_fluence(self.energy_kev)


def per_usv(energy_kev: Array, area_cm2: Array) -> Array:
    """Counts per µSv of H*(10) from an effective area in cm²."""
    return np.asarray(area_cm2 * 3600.0 / dose.h10_per_fluence(energy_kev))


def ionisation_sensitivity(area: Array, entry: Array) -> Array:
    """d ln(counts)/d ln(specific ionisation), from the share of entries that count."""
    share = np.clip(area / np.maximum(entry, 1e-300), 1e-6, 1.0 - 1e-9)
    a = -np.log1p(-share)
    return np.asarray(a * np.exp(-a) / share)


def response_curve(
    tube: TubeModel | Tube,
    energies_kev: Sequence[float] | Array = GRID_KEV,
    *,
    angle_deg: float | None = 90.0,
    precision: float = 0.01,
    seed: int = 1,
    method: Method = DEFAULT_METHOD,
    report: Report = silent,
) -> Curve:
    """Response to photons.

    Args:
        tube: with or without unknown dimensions.
        energies_kev: 5 keV to 3.5 MeV.
        angle_deg: between the tube's axis and the way to the source: 90 from the side, 0 in front
            of the window end; ``None`` for a field that turns around all angles alike.
        precision: relative statistical uncertainty wanted (k = 1).
        seed: of the random streams.
        method: ``"kernel"`` (then ``precision`` and ``seed`` play no part) or ``"mc"``.
        report: progress.

    Raises:
        UserError: energies out of range or a precision that is none.
        Cancelled: if ``report`` says so.
    """
    energy = np.asarray(list(energies_kev), dtype=np.float64)
    _check(energy, precision)
    model = TubeModel.of(tube)
    began = time.process_time()
    values = _run(model.nominal, energy, angle_deg, precision, seed, method, report, False)
    design = _design_u(model, energy, _SPREAD_KEV, angle_deg, seed, method, report, False)
    return _curve(values, energy, angle_deg, method, design, time.process_time() - began)


def electron_curve(
    tube: TubeModel | Tube,
    energies_kev: Sequence[float] | Array,
    *,
    angle_deg: float = 90.0,
    precision: float = 0.02,
    seed: int = 1,
    method: Method = DEFAULT_METHOD,
    report: Report = silent,
) -> Curve:
    """Response to electrons that arrive in a parallel beam; as :func:`response_curve`."""
    energy = np.asarray(list(energies_kev), dtype=np.float64)
    _check(energy, precision)
    model = TubeModel.of(tube)
    began = time.process_time()
    values = _run(model.nominal, energy, angle_deg, precision, seed, method, report, True)
    few = energy[:: max(1, energy.size // 8)]
    design = _design_u(model, energy, few, angle_deg, seed, method, silent, True)
    return _curve(values, energy, angle_deg, method, design, time.process_time() - began)


def _check(energy: Array, precision: float) -> None:
    if energy.size == 0 or not np.all((energy >= LOWEST_KEV) & (energy <= HIGHEST_KEV)):
        raise UserError(text("tube.energies", low=f"{LOWEST_KEV:g}", high=f"{HIGHEST_KEV:g}"))
    if not 1e-4 <= precision <= 0.5:
        raise UserError(text("tube.precision"))


def _run(
    tube: Tube,
    energy: Array,
    angle_deg: float | None,
    precision: float,
    seed: int,
    method: Method,
    report: Report,
    electrons: bool,
) -> tuple[Array, Array, Array, Array]:
    if method == "kernel":
        return _by_kernel(tube, energy, angle_deg, electrons)
    from counterproof.physics.tube import run

    b = run.body(tube)

    def source(e: float) -> Any:
        return run.beam(b, float(e), angle_deg, electrons)

    floor = 0.0
    if electrons:
        floor = FLOOR * 2.0 * tube.radius_cm * tube.length_cm
    else:
        first = run.simulate(
            b, source(CS137_KEV), enough=lambda m, u: u <= 0.05 * m, seed=seed, rounds=4
        )
        floor = FLOOR * first.counts
    scale = precision / 0.01

    def enough(mean: float, u: float) -> bool:
        return u <= max(precision * mean, floor * scale)

    scores = run.simulate_many(
        b, [source(e) for e in energy], enough=enough, seed=seed, report=report
    )
    pick = ("counts", "u_counts", "entries", "u_entries")
    out = [np.array([getattr(s, name) for s in scores]) for name in pick]
    return out[0], out[1], out[2], out[3]


def _by_kernel(
    tube: Tube, energy: Array, angle_deg: float | None, electrons: bool
) -> tuple[Array, Array, Array, Array]:
    from counterproof.physics.tube import quadrature

    areas = quadrature.electron_areas if electrons else quadrature.photon_areas
    rays = quadrature.Rays(_TURN_DEG if angle_deg is None else (angle_deg,))
    counts, entries = areas(quadrature.ready(tube), energy, rays)
    return counts, np.zeros(energy.size), entries, np.zeros(energy.size)


def _design_u(
    model: TubeModel,
    energy: Array,
    few: Array,
    angle_deg: float | None,
    seed: int,
    method: Method,
    report: Report,
    electrons: bool,
) -> Array:
    """Relative standard deviation over the variants, run at a few energies."""
    if not model.variants:
        return np.zeros(energy.size)
    rows = []
    for k, variant in enumerate(model.variants):
        rows.append(_run(variant, few, angle_deg, 0.05, seed + 7, method, silent, electrons)[0])
        step(report, k + 1, len(model.variants))
    areas = np.array(rows)
    spread = areas.std(axis=0, ddof=1) / np.maximum(areas.mean(axis=0), 1e-300)
    return np.asarray(np.interp(np.log(energy), np.log(few), spread))


def _curve(
    values: tuple[Array, Array, Array, Array],
    energy: Array,
    angle_deg: float | None,
    method: Method,
    design: Array,
    cpu_s: float,
) -> Curve:
    area, u_area, entry, u_entry = values
    base2 = TRANSPORT_U**2 + PHOTON_U**2 + (KERNEL_U**2 if method == "kernel" else 0.0)
    ions = RELATIVE_U * ionisation_sensitivity(area, entry)
    return Curve(
        energy_kev=energy,
        effective_area_cm2=area,
        u_stat_effective_area_cm2=u_area,
        u_model_effective_area_cm2=area * np.sqrt(base2 + ions**2 + design**2),
        entry_area_cm2=entry,
        u_stat_entry_area_cm2=u_entry,
        u_model_entry_area_cm2=entry * np.sqrt(base2 + design**2),
        u_design=design,
        angle_deg=angle_deg,
        cpu_s=cpu_s,
    )


def near_factor(
    tube: Tube,
    distance_cm: float,
    *,
    energy_kev: float,
    angle_deg: float,
    radius_cm: float = 0.0,
    electrons: bool = False,
    seed: int = 1,
    method: Method = DEFAULT_METHOD,
) -> float:
    """Counts from a disc at a distance over those from a parallel beam of the fluence there.

    Args:
        tube: the tube.
        distance_cm: from the source's centre to the middle of the gas.
        energy_kev: energy to compare at.
        angle_deg: 90 from the side, 0 in front of the window end; between, the side is taken.
        radius_cm: of the disc.
        electrons: compare for electrons.
        seed: of the streams.

    Raises:
        UserError: if the source would lie inside the tube.
    """
    end_on = math.sin(math.radians(angle_deg)) < 0.5
    z_reach, r_reach = tube.outer_half_length_cm, tube.outer_radius_cm
    reach = z_reach if end_on else r_reach
    if distance_cm <= reach * 1.02:
        raise UserError(text("tube.source_inside", least=f"{reach:.2f}"))
    side = distance_cm if math.cos(math.radians(angle_deg)) >= 0.0 else -distance_cm
    far_angle = (0.0 if side > 0 else 180.0) if end_on else 90.0
    if method == "kernel":
        near, far = _near_by_kernel(tube, energy_kev, distance_cm, side, radius_cm, end_on,
                                    far_angle, electrons)  # fmt: skip
    else:
        near, far = _near_by_mc(tube, energy_kev, distance_cm, side, radius_cm, end_on,
                                far_angle, electrons, seed)  # fmt: skip
    if far <= 0.0 or near <= 0.0:
        return 1.0
    return near * 4.0 * math.pi * distance_cm**2 / far


def _near_by_kernel(
    tube: Tube, energy_kev: float, distance_cm: float, side: float, radius_cm: float, end_on: bool,
    far_angle: float, electrons: bool,
) -> tuple[float, float]:  # fmt: skip
    from counterproof.physics.tube import quadrature

    n = _DISC_POINTS if radius_cm > 0.0 else 1
    r = radius_cm * np.sqrt((np.arange(n) + 0.5) / n)
    turn = 2.0 * np.pi * 0.6180339887498949 * np.arange(n)
    a, b, away = r * np.cos(turn), r * np.sin(turn), np.full(n, distance_cm)
    points = np.stack([a, b, np.full(n, side)] if end_on else [away, a, b], axis=1)
    areas = quadrature.electron_areas if electrons else quadrature.photon_areas
    q = quadrature.ready(tube)
    at = np.array([energy_kev])
    near = areas(q, at, quadrature.Rays(points=points))[0]
    far = areas(q, at, quadrature.Rays((far_angle,)))[0]
    return float(near[0]), float(far[0])


def _near_by_mc(
    tube: Tube, energy_kev: float, distance_cm: float, side: float, radius_cm: float, end_on: bool,
    far_angle: float, electrons: bool, seed: int,
) -> tuple[float, float]:  # fmt: skip
    from counterproof.physics.tube import run

    def enough(mean: float, u: float) -> bool:
        return u <= 0.02 * mean

    b = run.body(tube)
    disc = run.disc(b, energy_kev, 0.0 if end_on else distance_cm, side if end_on else 0.0,
                    radius_cm, end_on, electrons)  # fmt: skip
    beam = run.beam(b, energy_kev, far_angle, electrons)
    near, far = (run.simulate(b, s, enough=enough, seed=seed, rounds=6) for s in (disc, beam))
    return near.counts, far.counts
