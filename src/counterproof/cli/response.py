"""``counterproof response TUBE.toml``: what a tube counts over photon energy."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from counterproof.cli.common import JsonOption
from counterproof.cli.output import console, emit, pairs, progress_bar
from counterproof.errors import UserError
from counterproof.texts import text

if TYPE_CHECKING:
    from counterproof.records import Chart
    from counterproof.records.response import DatasheetScale, TubeResponse

MethodOption = Annotated[str, typer.Option("--method", help=text("tube.cli_method"))]
PrecisionOption = Annotated[str, typer.Option("--precision", help=text("tube.cli_precision"))]
SeedOption = Annotated[int, typer.Option("--seed", min=0, help=text("tube.cli_seed"))]
ChartOption = Annotated[Path | None, typer.Option("--chart", help=text("tube.cli_chart"))]


def energies_of(given: str | None) -> list[float] | None:
    """Read a list of energies in keV.

    Raises:
        UserError: if it is none.
    """
    if given is None:
        return None
    try:
        found = [float(part) for part in given.replace(";", ",").split(",") if part.strip()]
    except ValueError:
        found = []
    if not found:
        raise UserError(text("tube.bad_energies", given=given))
    return found


def share_of(given: str) -> float:
    """Read a precision such as ``1%`` or ``0.01``.

    Raises:
        UserError: if it is none.
    """
    try:
        if given.strip().endswith("%"):
            return float(given.strip()[:-1]) / 100.0
        return float(given)
    except ValueError:
        raise UserError(text("tube.precision")) from None


def method_of(given: str) -> str:
    """Check the name of a method.

    Raises:
        UserError: if it is none.
    """
    if given not in ("kernel", "mc"):
        raise UserError(text("tube.bad_method", given=given))
    return given


def angle_of(given: str) -> float | None:
    """Read an angle in degrees, or ``all`` for a field that turns.

    Raises:
        UserError: if it is neither.
    """
    if given.strip().lower() == "all":
        return None
    try:
        angle = float(given.strip().rstrip("°"))
    except ValueError:
        raise UserError(text("tube.bad_angle", given=given)) from None
    if not -360.0 <= angle <= 360.0:
        raise UserError(text("tube.bad_angle", given=given))
    return angle


def draw(chart: Chart, path: Path) -> None:
    """Write a chart as SVG or PNG.

    Raises:
        UserError: for another kind of file.
    """
    from counterproof.charts import png, svg

    if path.suffix.lower() == ".svg":
        path.write_text(svg(chart, for_page=False), encoding="utf-8")
    elif path.suffix.lower() == ".png":
        path.write_bytes(png(chart))
    else:
        raise UserError(text("tube.chart_kind", path=path))


def response(
    tube: Annotated[Path, typer.Argument(help=text("tube.cli_tube"))],
    energies: Annotated[
        str | None, typer.Option("--energies", help=text("tube.cli_energies"))
    ] = None,
    angle: Annotated[str, typer.Option("--angle", help=text("tube.cli_angle"))] = "90",
    precision: PrecisionOption = "1%",
    seed: SeedOption = 1,
    method: MethodOption = "kernel",
    chart: ChartOption = None,
    as_json: JsonOption = False,
) -> None:
    """Compute effective area and counts per dose of a tube over photon energy."""
    wanted = energies_of(energies)
    from counterproof.workshop.responses import response_chart, response_of_file

    with progress_bar(text("tube.cli_working"), quiet=as_json) as report:
        found = response_of_file(
            tube,
            wanted,
            angle_deg=angle_of(angle),
            precision=share_of(precision),
            seed=seed,
            method=method_of(method),  # type: ignore[arg-type]
            report=report,
        )
    if chart is not None:
        draw(response_chart(found), chart)
    emit(found, as_json, _show)


def datasheet_rows(scale: DatasheetScale) -> list[tuple[str, str]]:
    """Both scales in words."""
    return [
        (
            text("tube.sheet", nuclide=scale.nuclide),
            text("tube.per_usv_h", value=f"{scale.stated_counts_per_usv / 60.0:.3g}",
                 stated=scale.stated),
        ),
        (
            text("tube.physics", nuclide=scale.nuclide),
            text("tube.per_usv_h_physics", value=f"{scale.physics_counts_per_usv / 60.0:.3g}",
                 ratio=f"{scale.stated_over_physics:.2f}"),
        ),
    ]  # fmt: skip


def _show(found: TubeResponse) -> None:
    from rich.table import Table

    from counterproof.quantities import format_value

    out = console()
    angle = text("tube.all_around") if found.angle_deg is None else f"{found.angle_deg:g}°"
    out.print(text("tube.head", tube=found.tube, angle=angle))
    table = Table(box=None, pad_edge=False)
    for name in ("energy", "area", "entry", "per_usv", "relative"):
        table.add_column(text(f"tube.column_{name}"), justify="right")
    for i, energy in enumerate(found.energy_kev):
        area = found.effective_area_cm2[i]
        u = found.u_stat_effective_area_cm2[i] ** 2 + found.u_model_effective_area_cm2[i] ** 2
        v = found.u_stat_entry_area_cm2[i] ** 2 + found.u_model_entry_area_cm2[i] ** 2
        table.add_row(
            f"{energy:.4g}",
            format_value(area, u**0.5, ""),
            format_value(found.entry_area_cm2[i], v**0.5, ""),
            f"{found.counts_per_usv[i]:.3g}",
            f"{found.relative_to_cs137[i]:.3g}",
        )
    out.print(table)
    rows = datasheet_rows(found.datasheet) if found.datasheet else []
    rows += [(text("tube.not_known"), one) for one in found.unknown]
    rows.append((text("tube.effort"), f"{found.cpu_s:.2f} s"))
    out.print(pairs(rows))
