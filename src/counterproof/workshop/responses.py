"""The response of a tube file, and what it should count near a source file, for both faces."""

from __future__ import annotations

import datetime as dt
import math
from collections.abc import Sequence
from pathlib import Path
from typing import Any, Literal

import numpy as np

from counterproof.kit.source import Source
from counterproof.kit.to_field import source_term
from counterproof.kit.to_tube import tube_model
from counterproof.kit.tube import Tube
from counterproof.physics.cautions import cautions
from counterproof.physics.dose import mean_h10_per_air_kerma
from counterproof.physics.emissions import emission
from counterproof.physics.field import field
from counterproof.physics.sheets import Sheet
from counterproof.physics.tube.model import TubeModel
from counterproof.progress import Report, silent
from counterproof.records import Chart, Series
from counterproof.records.response import (
    DatasheetScale,
    RateComponent,
    TubePrediction,
    TubeResponse,
)
from counterproof.texts import text

Method = Literal["kernel", "mc"]


def _with_activity(part: Any, activity: float) -> float:
    """Standard uncertainty of a part of the rate, the activity's included."""
    return math.hypot(part.u, activity * part.counts_per_s)


def response_of_file(
    path: Path,
    energies_kev: Sequence[float] | None = None,
    *,
    angle_deg: float | None = 90.0,
    precision: float = 0.01,
    seed: int = 1,
    method: Method = "kernel",
    report: Report = silent,
) -> TubeResponse:
    """Read a tube file and compute its response.

    Raises:
        UserError: what is wrong with the file, the energies or the precision.
        Cancelled: if ``report`` says so.
    """
    return response_report(
        Tube.load(path), energies_kev, angle_deg=angle_deg, precision=precision, seed=seed,
        method=method, report=report,
    )  # fmt: skip


def response_report(
    tube: Tube,
    energies_kev: Sequence[float] | None = None,
    *,
    angle_deg: float | None = 90.0,
    precision: float = 0.01,
    seed: int = 1,
    method: Method = "kernel",
    report: Report = silent,
) -> TubeResponse:
    """Compute the response of a tube as a record; see :func:`response_of_file`."""
    from counterproof.physics.tube.response import CS137_KEV, GRID_KEV, response_curve

    model = tube_model(tube)
    asked = list(GRID_KEV if energies_kev is None else energies_kev)
    curve = response_curve(
        model, [*asked, CS137_KEV], angle_deg=angle_deg, precision=precision, seed=seed,
        method=method, report=report,
    )  # fmt: skip
    per_usv = curve.counts_per_usv
    reference = float(per_usv[-1])

    def column(values: object) -> list[float]:
        return [float(v) for v in np.asarray(values)[:-1]]

    return TubeResponse(
        tube=tube.name,
        method=method,
        angle_deg=angle_deg,
        energy_kev=column(curve.energy_kev),
        effective_area_cm2=column(curve.effective_area_cm2),
        u_stat_effective_area_cm2=column(curve.u_stat_effective_area_cm2),
        u_model_effective_area_cm2=column(curve.u_model_effective_area_cm2),
        entry_area_cm2=column(curve.entry_area_cm2),
        u_stat_entry_area_cm2=column(curve.u_stat_entry_area_cm2),
        u_model_entry_area_cm2=column(curve.u_model_entry_area_cm2),
        counts_per_usv=column(per_usv),
        counts_per_ugy=column(curve.counts_per_ugy),
        relative_to_cs137=column(per_usv / reference if reference > 0 else per_usv * math.nan),
        unknown=list(model.unknown),
        datasheet=datasheet_scale(tube, model, seed, method),
        cpu_s=curve.cpu_s,
    )


def datasheet_scale(
    tube: Tube, model: TubeModel, seed: int = 1, method: Method = "kernel"
) -> DatasheetScale | None:
    """Set the data sheet's sensitivity beside the physics' for the same nuclide.

    The tube is irradiated from the side, or through its window if it has one.
    """
    from counterproof.physics.tube.response import LOWEST_KEV, response_curve

    stated = tube.datasheet.read_sensitivity()
    if stated is None or not stated.nuclide:
        return None
    head = {"Cs-137": "Ba-137m"}.get(stated.nuclide, stated.nuclide)
    lines = emission(head)
    use = (lines.photon_kev > max(LOWEST_KEV, 15.0)) & (lines.photon_yield > 1e-3)
    energy, share = lines.photon_kev[use], lines.photon_yield[use]
    if not energy.size:
        return None
    nodes = energy if energy.size <= 6 else np.geomspace(energy.min(), energy.max(), 12)
    curve = response_curve(
        model.nominal, nodes, angle_deg=side_angle(tube), precision=0.01, seed=seed, method=method
    )
    from counterproof.physics.dose import h10_per_fluence

    order = np.argsort(curve.energy_kev)
    area = np.interp(
        np.log(energy), np.log(curve.energy_kev[order]), curve.effective_area_cm2[order]
    )
    physics = float((share * area).sum() / (share * h10_per_fluence(energy)).sum()) * 3600.0
    conversion = stated.to("cps/(µSv/h)", mean_h10_per_air_kerma(head))
    of_sheet = conversion.value * 3600.0
    return DatasheetScale(
        nuclide=stated.nuclide,
        stated=f"{stated.value:g} {stated.unit}",
        stated_counts_per_usv=of_sheet,
        physics_counts_per_usv=physics,
        stated_over_physics=of_sheet / physics,
        coefficients=conversion.coefficients,
    )


def side_angle(tube: Tube) -> float:
    """How a tube is usually held to a source: from the side, or its window to the front."""
    return 0.0 if tube.window or tube.construction == "mica window" else 90.0


def prediction_of_files(
    tube_path: Path,
    source_path: Path,
    distance_cm: float,
    absorbers: Sequence[Sheet] = (),
    *,
    date: dt.date | None = None,
    angle_deg: float | None = None,
    precision: float = 0.02,
    seed: int = 1,
    method: Method = "kernel",
    report: Report = silent,
) -> TubePrediction:
    """Predict counts per second of a tube file near a source file, by component.

    Args:
        tube_path: the tube.
        source_path: the source.
        distance_cm: from the source's centre to the middle of the tube's gas.
        absorbers: plates between them.
        date: of the measurement; today without.
        angle_deg: between the tube's axis and the way to the source; the usual one without.
        precision: of the curves.
        seed: of the streams.
        method: ``"mc"``, the Monte Carlo.
        report: progress.

    Raises:
        UserError: what is wrong with the files or the position.
        Cancelled: if ``report`` says so.
    """
    return prediction(
        Tube.load(tube_path), Source.load(source_path), distance_cm, absorbers, date=date,
        angle_deg=angle_deg, precision=precision, seed=seed, method=method, report=report,
    )  # fmt: skip


def prediction(
    tube: Tube,
    source: Source,
    distance_cm: float,
    absorbers: Sequence[Sheet] = (),
    *,
    date: dt.date | None = None,
    angle_deg: float | None = None,
    precision: float = 0.02,
    seed: int = 1,
    method: Method = "kernel",
    report: Report = silent,
) -> TubePrediction:
    """Predict counts per second; see :func:`prediction_of_files`."""
    import time

    from counterproof.physics.background import background
    from counterproof.physics.tube.predict import predict

    began = time.process_time()
    model = tube_model(tube)
    term = source_term(source)
    on = date or dt.date.today()  # noqa: DTZ011  the calendar day at the bench
    found = field(term, [distance_cm], absorbers=absorbers, date=on)
    angle = side_angle(tube) if angle_deg is None else angle_deg
    rates = predict(
        model, found, 0, angle_deg=angle, natural=background(), precision=precision, seed=seed,
        method=method, report=report,
    )  # fmt: skip
    scale = datasheet_scale(tube, model, seed, method)
    factor = scale.stated_over_physics if scale else None
    activity = 0.0
    if term.activity_bq and term.activity_relative_u is not None:
        activity = term.activity_relative_u
    photon, beta, back = rates.photon, rates.beta, rates.background

    def component(name: str, value: float, u: float, scaled: bool) -> RateComponent:
        return RateComponent(
            name=name,  # type: ignore[arg-type]
            counts_per_s=value,
            u_counts_per_s=u,
            datasheet_scale_counts_per_s=value * factor if factor and scaled else None,
        )

    rows = [
        component("photon", photon.counts_per_s, _with_activity(photon, activity), True),
        component("beta", beta.counts_per_s, _with_activity(beta, activity), False),
        component("background", back.counts_per_s, back.u, True),
    ]  # fmt: skip
    if found.activity_known:
        total = photon.counts_per_s + beta.counts_per_s + back.counts_per_s
        own = activity * (photon.counts_per_s + beta.counts_per_s)
        rows.append(component("total", total, math.hypot(photon.u + beta.u, back.u, own), False))
    h10 = float(found.h10_usv_h[0])
    said = list(cautions(term, found.activities_bq))
    if beta.counts_per_s <= 0.0 and found.electron_fluence_rate_kev[0].any():
        said.append(text("tube.stops_betas", tube=tube.name))
    return TubePrediction(
        tube=tube.name,
        source=term.name,
        distance_cm=distance_cm,
        angle_deg=angle,
        activity_known=found.activity_known,
        components=tuple(rows),
        h10_usv_h=h10 if found.activity_known else None,
        counts_per_usv=photon.counts_per_s * 3600.0 / h10 if h10 > 0.0 else None,
        near_factor=rates.near,
        unknown=list(model.unknown),
        datasheet=scale,
        cautions=tuple(said),
        cpu_s=time.process_time() - began,
    )


def response_chart(found: TubeResponse) -> Chart:
    """The H*(10) response relative to caesium over energy, with its uncertainty."""
    low, high = [], []
    for relative, area, stat, model in zip(
        found.relative_to_cs137,
        found.effective_area_cm2,
        found.u_stat_effective_area_cm2,
        found.u_model_effective_area_cm2,
        strict=True,
    ):
        u = 2.0 * math.hypot(stat, model) / area * relative if area > 0.0 else 0.0
        low.append(max(relative - u, 0.0))
        high.append(relative + u)
    return Chart(
        question=text("tube.chart_question", tube=found.tube),
        x_title=text("tube.chart_energy"),
        y_title=text("tube.chart_relative"),
        series=(
            Series(
                name=found.tube,
                role="predicted",
                x=tuple(found.energy_kev),
                y=tuple(found.relative_to_cs137),
                low=tuple(low),
                high=tuple(high),
            ),
        ),
        form="lines",
        log_x=True,
        log_y=min(found.relative_to_cs137, default=0.0) > 0.0,
    )


def prediction_chart(found: TubePrediction) -> Chart:
    """Counts per second by component, with intervals of 95 %."""
    rows = [c for c in found.components if c.counts_per_s > 0.0]
    values = tuple(c.counts_per_s for c in rows)
    u = [1.96 * (c.u_counts_per_s or 0.0) for c in rows]
    return Chart(
        question=text("tube.chart_counts", tube=found.tube, source=found.source),
        x_title=text("tube.chart_rate"),
        y_title="",
        series=(
            Series(
                name=found.tube,
                role="predicted",
                x=tuple(float(i) for i in range(len(rows))),
                y=values,
                low=tuple(max(v - d, 0.0) for v, d in zip(values, u, strict=True)),
                high=tuple(v + d for v, d in zip(values, u, strict=True)),
                labels=tuple(text(f"tube.part_{c.name}") for c in rows),
            ),
        ),
        form="intervals",
    )
