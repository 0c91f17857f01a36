"""The field of a source file at a position, as both faces show it."""

from __future__ import annotations

import datetime as dt
from collections.abc import Sequence
from pathlib import Path

import numpy as np

from counterproof.kit.source import Source
from counterproof.kit.to_field import source_term
from counterproof.physics.cautions import cautions
from counterproof.physics.dose import COEFFICIENT_SET
from counterproof.physics.field import Field, field, reach_cm
from counterproof.physics.sheets import Sheet
from counterproof.physics.sources import SourceTerm
from counterproof.records import Chart, Series
from counterproof.records.field import (
    BudgetLine,
    DoseRate,
    ElectronSpectrum,
    FieldReport,
    Handling,
    PhotonSpectrum,
)
from counterproof.texts import text

FINGERS_CM = 0.5
EYES_CM = 30.0


def _dose_rate(found: Field, quantity: str) -> DoseRate:
    estimate = found.estimate(quantity)
    budget = found.budgets[quantity]
    return DoseRate(
        **{name: getattr(estimate, name) for name in ("value", "low", "high", "u", "coverage")},
        unit=estimate.unit,
        method=estimate.method,
        u_without_activity=estimate.value * budget.relative_u(0, text("field.budget.activity")),
        budget=tuple(
            BudgetLine(name=line.name, relative_u=float(line.relative_u[0]), source=line.source)
            for line in budget.lines
        ),
        unknown=budget.unknown,
    )


def handling(source: SourceTerm, date: dt.date | None) -> Handling:
    """Dose rates to fingers 5 mm in front of the source and to eyes at 30 cm: upper estimates.

    Fingers get H'(0.07) of the electrons and H*(10) of the photons, eyes the same sum.
    """
    places = np.array([reach_cm(source) + FINGERS_CM, max(EYES_CM, reach_cm(source) + 1.0)])
    found = field(source, places, date=date)
    doses = found.h007_usv_h + found.h10_usv_h
    known = found.activity_known
    return Handling(
        fingers_usv_h=float(doses[0]) if known else None,
        fingers_cm=FINGERS_CM,
        eyes_usv_h=float(doses[1]) if known else None,
        eyes_cm=EYES_CM,
    )


def field_report(
    source: SourceTerm,
    distance_cm: float,
    absorbers: Sequence[Sheet] = (),
    date: dt.date | None = None,
    angle_deg: float = 0.0,
    absorber_names: Sequence[str] = (),
) -> FieldReport:
    """Compute the field of a source at one position as a record.

    Raises:
        UserError: impossible position or date.
    """
    found = field(source, distance_cm, absorbers=absorbers, date=date, angle_deg=angle_deg)
    if not absorber_names:
        absorber_names = [f"{a.material.name} {a.thickness_cm * 10:g} mm" for a in absorbers]
    return FieldReport(
        source=source.name,
        lead=source.parts[0].nuclide,
        activity_known=found.activity_known,
        activities_bq=found.activities_bq,
        date=None if date is None else date.isoformat(),
        distance_cm=distance_cm,
        angle_deg=angle_deg,
        absorbers=list(absorber_names),
        air_kerma_ugy_h=_dose_rate(found, "air_kerma_ugy_h"),
        exposure_mr_h=_dose_rate(found, "exposure_mr_h"),
        h10_usv_h=_dose_rate(found, "h10_usv_h"),
        h007_usv_h=_dose_rate(found, "h007_usv_h"),
        photons=PhotonSpectrum(
            energy_kev=found.photon_kev.tolist(),
            fluence_rate_per_cm2_s=found.photon_fluence_rate[0].tolist(),
            kind=list(found.photon_kind),
        ),
        electrons=ElectronSpectrum(
            energy_kev=found.electron_kev.tolist(),
            fluence_rate_per_cm2_s_kev=found.electron_fluence_rate_kev[0].tolist(),
            edges_kev=found.electron_edges_kev.tolist(),
        ),
        handling=handling(source, date),
        coefficients=COEFFICIENT_SET,
        cautions=cautions(source, found.activities_bq),
    )


def field_of_file(
    path: Path,
    distance_cm: float,
    absorbers: Sequence[Sheet] = (),
    date: dt.date | None = None,
    angle_deg: float = 0.0,
) -> FieldReport:
    """Read a source file and compute its field; today when no date is given.

    Raises:
        UserError: what is wrong with the file, the position or the date.
    """
    source = source_term(Source.load(path))
    return field_report(source, distance_cm, absorbers, date or dt.date.today(), angle_deg)  # noqa: DTZ011


def spectrum_chart(found: FieldReport) -> Chart:
    """What arrives, by energy: photon lines as points, electrons per keV as a line."""
    unit = text("field.chart.per_bq") if not found.activity_known else ""
    series = []
    photons = list(
        zip(
            found.photons.energy_kev,
            found.photons.fluence_rate_per_cm2_s,
            found.photons.kind,
            strict=True,
        )
    )
    highest = max((rate for _, rate, _ in photons), default=0.0)
    for kind in dict.fromkeys(found.photons.kind):
        some = [(e, r) for e, r, k in photons if k == kind and r > 1e-4 * highest]
        if some:
            series.append(
                Series(name=kind, x=tuple(e for e, _ in some), y=tuple(r for _, r in some))
            )
    return Chart(
        question=text("field.chart.photons", source=found.source, distance=found.distance_cm),
        x_title=text("field.chart.energy"),
        y_title=text("field.chart.fluence") + unit,
        series=tuple(series),
        form="points",
        log_x=True,
        log_y=True,
    )


def electron_chart(found: FieldReport) -> Chart | None:
    """Electron fluence rate per keV; ``None`` when none arrive."""
    rates = found.electrons.fluence_rate_per_cm2_s_kev
    if not any(rates):
        return None
    unit = text("field.chart.per_bq") if not found.activity_known else ""
    name = text("field.chart.electrons_name")
    least = 1e-4 * max(rates)
    last = max(i for i, rate in enumerate(rates) if rate > least) + 1
    return Chart(
        question=text("field.chart.electrons", source=found.source, distance=found.distance_cm),
        x_title=text("field.chart.energy"),
        y_title=text("field.chart.electron_fluence") + unit,
        series=(
            Series(
                name=name,
                role="predicted",
                x=tuple(found.electrons.energy_kev[:last]),
                y=tuple(rates[:last]),
            ),
        ),
        form="lines",
    )
