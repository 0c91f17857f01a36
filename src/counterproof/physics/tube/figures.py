"""Single figures of a tube with their uncertainty: sensitivity, beta efficiency, background, angle.

What to use when: these for a table, a trial or an outlook; :mod:`.response` for curves,
:mod:`.predict` for the rates of one position, part by part.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from counterproof.errors import UserError
from counterproof.physics.background import Background, background
from counterproof.physics.field import Field
from counterproof.physics.tube.geometry import Tube
from counterproof.physics.tube.layout import Array
from counterproof.physics.tube.model import TubeModel
from counterproof.physics.tube.predict import background_rate, electron_part, photon_part
from counterproof.physics.tube.response import DEFAULT_METHOD, Method, response_curve
from counterproof.progress import Report, silent, step
from counterproof.quantities import Estimate
from counterproof.texts import text

_K95 = 1.959964


def _estimate(value: float, u: float, unit: str, method: str) -> Estimate:
    low = max(value - _K95 * u, 0.0)
    return Estimate(value, u, low, value + _K95 * u, 0.95, unit, None, method)


@dataclass(frozen=True)
class AngleResponse:
    """Response to photons over angle; arrays of shape (n,).

    Args:
        angle_deg: between the tube's axis and the way to the source.
        counts_per_usv: counts per µSv of H*(10).
        u_counts_per_usv: standard uncertainty, design and model included.
        relative: over the response at 90°.
        u_relative: standard uncertainty; what is common to all angles cancels.
        energy_kev: of the photons.
    """

    angle_deg: Array
    counts_per_usv: Array
    u_counts_per_usv: Array
    relative: Array
    u_relative: Array
    energy_kev: float


def angle_response(
    tube: TubeModel | Tube,
    energy_kev: float,
    angles_deg: Sequence[float] | Array,
    *,
    precision: float = 0.01,
    seed: int = 1,
    method: Method = DEFAULT_METHOD,
    report: Report = silent,
) -> AngleResponse:
    """Response to a parallel beam of photons from several directions.

    Args:
        tube: with or without unknown dimensions.
        energy_kev: of the photons.
        angles_deg: shape (n,).
        precision: relative statistical uncertainty wanted.
        seed: of the random streams.
        method: as for :func:`~counterproof.physics.tube.response.response_curve`.
        report: progress.

    Raises:
        UserError: an energy out of range, no angle.
        Cancelled: if ``report`` says so.
    """
    angles = np.asarray(list(angles_deg), dtype=np.float64)
    if not angles.size:
        raise UserError(text("tube.bad_angle", given=""))
    model = TubeModel.of(tube)
    rows = []
    whole = angles.size + 1
    for number, angle in enumerate([*angles, 90.0]):
        curve = response_curve(
            model, [energy_kev], angle_deg=float(angle), precision=precision, seed=seed,
            method=method,
        )  # fmt: skip
        area = max(float(curve.effective_area_cm2[0]), 1e-300)
        rows.append(
            (
                float(curve.counts_per_usv[0]),
                float(curve.u_stat_effective_area_cm2[0]) / area,
                float(curve.u_model_effective_area_cm2[0]) / area,
                float(curve.u_design[0]),
            )
        )
        step(report, number + 1, whole)
    value, stat, model_u, design = np.array(rows).T
    relative = value[:-1] / value[-1]
    # transport and cross sections are the same for all angles; a design changes side and end
    # by unlike amounts: its spread is kept, as if independent, away from 90°
    aside = np.abs(np.cos(np.radians(angles)))
    u_relative = np.sqrt(stat[:-1] ** 2 + stat[-1] ** 2 + (aside * design[:-1]) ** 2)
    return AngleResponse(
        angles,
        value[:-1],
        value[:-1] * np.hypot(stat, model_u)[:-1],
        relative,
        relative * u_relative,
        energy_kev,
    )


def sensitivity(
    tube: TubeModel | Tube,
    at: Field,
    index: int = 0,
    *,
    angle_deg: float = 90.0,
    precision: float = 0.02,
    seed: int = 1,
    method: Method = DEFAULT_METHOD,
    report: Report = silent,
) -> Estimate:
    """Counts per µSv of H*(10) that the photons of a field give at one of its distances.

    Args:
        tube: with or without unknown dimensions.
        at: the field; its distances run to the middle of the gas.
        index: which distance.
        angle_deg: between the tube's axis and the way to the source.
        precision: relative statistical uncertainty wanted.
        seed: of the random streams.
        method: as for :func:`~counterproof.physics.tube.response.response_curve`.
        report: progress.

    Returns:
        in 1/µSv; over 60 it is counts per minute per µSv/h.

    Raises:
        UserError: no photons there, or the source inside the tube.
        Cancelled: if ``report`` says so.
    """
    dose_rate = float(at.h10_usv_h[index])
    if dose_rate <= 0.0:
        raise UserError(text("tube.no_photons"))
    part, _ = photon_part(
        TubeModel.of(tube), at, index, angle_deg=angle_deg, precision=precision, seed=seed,
        method=method, report=report,
    )  # fmt: skip
    scale = 3600.0 / dose_rate
    return _estimate(part.counts_per_s * scale, part.u * scale, "1/µSv", method)


def beta_efficiency(
    tube: TubeModel | Tube,
    at: Field,
    index: int = 0,
    *,
    angle_deg: float = 90.0,
    precision: float = 0.02,
    seed: int = 1,
    method: Method = DEFAULT_METHOD,
    report: Report = silent,
) -> Estimate:
    """Counts per electron (beta or conversion electron) of a field that strikes the tube.

    What strikes the tube is the fluence at the middle of the gas times the gas's own cross-section
    towards the source.

    Args:
        tube: with or without unknown dimensions.
        at: the field with its electrons.
        index: which distance.
        angle_deg: between the tube's axis and the way to the source.
        precision: relative statistical uncertainty wanted.
        seed: of the random streams.
        method: as for :func:`~counterproof.physics.tube.response.electron_curve`.
        report: progress.

    Raises:
        UserError: the source inside the tube.
        Cancelled: if ``report`` says so.
    """
    model = TubeModel.of(tube)
    striking = float((at.electron_fluence_rate_kev[index] * np.diff(at.electron_edges_kev)).sum())
    striking *= face_area_cm2(model.nominal, angle_deg)
    if striking <= 0.0:
        return _estimate(0.0, 0.0, "", method)
    part = electron_part(
        model, at, index, angle_deg=angle_deg, precision=precision, seed=seed, method=method,
        report=report,
    )  # fmt: skip
    return _estimate(part.counts_per_s / striking, part.u / striking, "", method)


def face_area_cm2(tube: Tube, angle_deg: float) -> float:
    """Cross-section of the gas seen from an angle, cm²."""
    angle = math.radians(angle_deg)
    r = tube.radius_cm
    return 2.0 * r * tube.length_cm * abs(math.sin(angle)) + math.pi * r * r * abs(math.cos(angle))


def background_counts(
    tube: TubeModel | Tube,
    natural: Background | None = None,
    *,
    precision: float = 0.03,
    seed: int = 1,
    method: Method = DEFAULT_METHOD,
) -> Estimate:
    """Expected counts per second of natural background, photons from all around and muons.

    Args:
        tube: with or without unknown dimensions.
        natural: the background; outdoors at sea level when ``None``.
        precision: relative statistical uncertainty wanted.
        seed: of the random streams.
        method: as for :func:`~counterproof.physics.tube.response.response_curve`.
    """
    part = background_rate(
        TubeModel.of(tube), natural or background(), precision=precision, seed=seed, method=method
    )
    return _estimate(part.counts_per_s, part.u, "1/s", method)
