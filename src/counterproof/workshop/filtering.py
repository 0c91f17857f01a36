"""Design an energy-compensating filter for a tube, and confirm it by the Monte Carlo."""

from __future__ import annotations

import time
from collections.abc import Sequence
from dataclasses import replace

import numpy as np

from counterproof.errors import UserError
from counterproof.kit import Tube
from counterproof.kit.to_tube import tube_model
from counterproof.physics.materials import material
from counterproof.physics.tube.geometry import Layer
from counterproof.physics.tube.geometry import Tube as Body
from counterproof.progress import Report, silent
from counterproof.records import Chart, Measured, Series
from counterproof.records.filter import FilterReport, FoilLayer
from counterproof.records.outcome import Mark
from counterproof.retrofit.filters import (
    ENERGIES_KEV,
    STOCK_MM,
    FilterChoice,
    FilterDesign,
    Floats,
    Foil,
    Transport,
    design_filter,
    reopened,
    tolerance,
)
from counterproof.texts import text
from counterproof.workshop.responses import side_angle

PRECISION, CONFIRM_PRECISION = 0.03, 0.01


def filtered(body: Body, choice: FilterChoice) -> Body:
    """Return a tube with the foils of a choice around what it has."""
    around = tuple(
        Layer(material(f.metal), 0.1 * f.thickness_mm, coverage=1.0 - choice.open_fraction)
        for f in choice.foils
    )
    return replace(body, filters=(*body.filters, *around))


def response_of(
    body: Body,
    angle_deg: float,
    energies_kev: Sequence[float],
    precision: float,
    method: str | None = None,
) -> tuple[Floats, Floats]:
    """Counts per µSv of H*(10) and their statistical uncertainty."""
    from counterproof.physics.tube.response import DEFAULT_METHOD, response_curve

    curve = response_curve(
        body, energies_kev, angle_deg=angle_deg, precision=precision,
        method=method or DEFAULT_METHOD,  # type: ignore[arg-type]
    )  # fmt: skip
    share = curve.u_stat_effective_area_cm2 / np.maximum(curve.effective_area_cm2, 1e-300)
    return curve.counts_per_usv, curve.counts_per_usv * share


def transport_of(
    body: Body,
    angle_deg: float,
    energies_kev: Sequence[float] = ENERGIES_KEV,
    precision: float = PRECISION,
    method: str | None = None,
) -> Transport:
    """Return the transport that the filter design asks; ``method`` as for the response curve."""

    def run(foils: tuple[Foil, ...]) -> tuple[Floats, Floats]:
        return response_of(
            filtered(body, FilterChoice(foils, 0.0)), angle_deg, energies_kev, precision, method
        )

    return run


def filter_for(
    tube: Tube,
    *,
    metals: Sequence[str] = tuple(STOCK_MM),
    layers: int = 2,
    band: float = 0.30,
    least_kept: float = 0.5,
    low_kev: float = 60.0,
    high_kev: float = 1250.0,
    confirm: bool = False,
    report: Report = silent,
) -> FilterReport:
    """Design a filter for a tube.

    Args:
        tube: as described; its own filters stay.
        metals: of the stock that may be used.
        layers: 1 or 2.
        band: largest departure of the response from that of caesium.
        least_kept: least share of sensitivity.
        low_kev: lower end of the energies that matter.
        high_kev: upper end.
        confirm: compute the result once more by the full Monte Carlo.
        report: progress.

    Raises:
        UserError: what cannot be a tube, an unknown metal, a band or energies that cannot be.
        Cancelled: if ``report`` says so.
    """
    began = time.process_time()
    if not 20.0 <= low_kev < 600.0 or not 700.0 < high_kev <= 3000.0:
        raise UserError(text("filter.energies"))
    model = tube_model(tube)
    body, angle = model.nominal, side_angle(tube)
    inside = [e for e in ENERGIES_KEV if low_kev < e < high_kev]
    energies = tuple(sorted({low_kev, *inside, 661.657, high_kev}))
    radius = 10.0 * body.outer_radius_cm
    found = design_filter(
        transport_of(body, angle, energies), radius, energies_kev=energies, metals=metals,
        layers=layers, band=band, least_kept=least_kept, report=report,
    )  # fmt: skip
    confirmed = confirmed_kept = None
    if confirm:
        # the Monte Carlo has the last word on the open fraction, then says what that one gives
        precise = (angle, energies, CONFIRM_PRECISION, "mc")
        bare, full = (
            response_of(body, *precise),
            response_of(filtered(body, found.choice), *precise),
        )
        found = reopened(found, bare, full, band, least_kept)
        last = response_of(filtered(body, found.choice), *precise)
        confirmed, confirmed_kept = _confirmed(found, bare, last)
    held = tolerance(found, radius, band)
    return FilterReport(
        tube=tube.name,
        layers=tuple(
            FoilLayer(material=f.metal, thickness_mm=f.thickness_mm) for f in found.choice.foils
        ),
        open_fraction=found.choice.open_fraction,
        band=band,
        met=found.met,
        statement=_statement(tube.name, found, band),
        departure=_measured(found.departure, _u_at_departure(found)),
        kept=_measured(found.kept, found.kept_u),
        bare_departure=float(found.bare[int(np.argmax(np.abs(found.bare - 1.0)))]),
        within_band=held.within,
        departure_interval=(held.departure_low, held.departure_high),
        confirmed=confirmed,
        confirmed_kept=confirmed_kept,
        chart=_chart(tube.name, found, band),
        rounds=found.rounds,
        cpu_s=time.process_time() - began,
        unknown=model.unknown,
        assumptions=(text("filter.stock"), text("filter.tolerance")),
        cautions=(text("filter.caution_metal"), text("filter.caution_beta")),
    )


def _measured(value: float, u: float) -> Measured:
    return Measured(value=value, u=u, low=value - 1.96 * u, high=value + 1.96 * u)


def _u_at_departure(found: FilterDesign) -> float:
    return float(found.relative_u[int(np.argmax(np.abs(found.relative - 1.0)))])


def _confirmed(
    found: FilterDesign, without: tuple[Floats, Floats], around: tuple[Floats, Floats]
) -> tuple[Measured, Measured]:
    """Largest departure and sensitivity kept by the full Monte Carlo, slots as rings."""
    (bare, bare_u), (seen, u) = without, around
    at = int(np.argmin(np.abs(found.energies_kev - 661.657)))
    relative = seen / seen[at]
    worst = int(np.argmax(np.abs(relative - 1.0)))
    spread = np.hypot(u[worst] / seen[worst], u[at] / seen[at])
    kept = float(seen[at] / bare[at])
    kept_u = kept * float(np.hypot(u[at] / seen[at], bare_u[at] / bare[at]))
    return (
        _measured(float(relative[worst]), float(relative[worst] * spread)),
        _measured(kept, kept_u),
    )


def _foils(found: FilterDesign) -> str:
    return text("filter.then").join(
        text("filter.foil", thickness=f"{f.thickness_mm:g}", metal=f.metal)
        for f in found.choice.foils
    )


def _statement(name: str, found: FilterDesign, band: float) -> str:
    said = text(
        "filter.met" if found.met else "filter.not_met", tube=name, foils=_foils(found),
        open=f"{100 * found.choice.open_fraction:.0f}", low=f"{found.relative.min():.2f}",
        high=f"{found.relative.max():.2f}", kept=f"{100 * found.kept:.0f}",
        band=f"{100 * band:.0f}",
    )  # fmt: skip
    return said if found.met else f"{said} {found.binds}"


def _chart(name: str, found: FilterDesign, band: float) -> Chart:
    x, bare = tuple(map(float, found.energies_kev)), tuple(map(float, found.bare))
    low, high = found.relative - 1.96 * found.relative_u, found.relative + 1.96 * found.relative_u
    return Chart(
        question=text("filter.question", tube=name),
        x_title=text("tube.chart_energy"),
        y_title=text("tube.chart_relative"),
        series=(
            Series(name=text("filter.bare"), role="predicted", x=x, y=bare),
            Series(
                name=text("filter.with"), role="predicted", x=x,
                y=tuple(map(float, found.relative)), low=tuple(map(float, low)),
                high=tuple(map(float, high)),
            ),
        ),
        form="lines",
        log_x=True,
        log_y=True,
        marks=(Mark(axis="y", at=1.0 - band), Mark(axis="y", at=1.0 + band)),
    )  # fmt: skip
