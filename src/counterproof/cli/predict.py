"""``counterproof predict TUBE.toml SOURCE.toml --distance 10cm``: counts per second to expect."""

from __future__ import annotations

import datetime as dt
from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from counterproof.cli.common import JsonOption
from counterproof.cli.output import console, emit, pairs, progress_bar
from counterproof.cli.response import (
    ChartOption,
    MethodOption,
    PrecisionOption,
    SeedOption,
    angle_of,
    datasheet_rows,
    draw,
    method_of,
    share_of,
)
from counterproof.errors import UserError
from counterproof.texts import text

if TYPE_CHECKING:
    from counterproof.records.response import TubePrediction


def predict(
    tube: Annotated[Path, typer.Argument(help=text("tube.cli_tube"))],
    source: Annotated[Path, typer.Argument(help=text("tube.cli_source"))],
    distance: Annotated[str, typer.Option("--distance", help=text("tube.cli_distance"))],
    absorber: Annotated[
        list[str] | None, typer.Option("--absorber", help=text("cli_field.absorber"))
    ] = None,
    date: Annotated[str | None, typer.Option("--date", help=text("cli_field.date"))] = None,
    angle: Annotated[str | None, typer.Option("--angle", help=text("tube.cli_angle"))] = None,
    precision: PrecisionOption = "2%",
    seed: SeedOption = 1,
    method: MethodOption = "kernel",
    chart: ChartOption = None,
    as_json: JsonOption = False,
) -> None:
    """Predict counts per second of a tube near a source: photons, betas, background."""
    from counterproof.physics.sheets import parse_sheet
    from counterproof.quantities import parse_quantity

    on = None
    if date is not None:
        try:
            on = dt.date.fromisoformat(date)
        except ValueError:
            raise UserError(text("cli_field.bad_date", given=date)) from None
    held = None
    if angle is not None:
        held = angle_of(angle)
        if held is None:
            raise UserError(text("tube.bad_angle", given=angle))
    from counterproof.workshop.responses import prediction_chart, prediction_of_files

    with progress_bar(text("tube.cli_working"), quiet=as_json) as report:
        found = prediction_of_files(
            tube,
            source,
            parse_quantity(distance, "cm"),
            [parse_sheet(one) for one in absorber or ()],
            date=on,
            angle_deg=held,
            precision=share_of(precision),
            seed=seed,
            method=method_of(method),  # type: ignore[arg-type]
            report=report,
        )
    if chart is not None:
        draw(prediction_chart(found), chart)
    emit(found, as_json, _show)


def _show(found: TubePrediction) -> None:
    from counterproof.quantities import format_value

    out = console()
    out.print(
        text(
            "tube.predict_head",
            tube=found.tube,
            source=found.source,
            distance=f"{found.distance_cm:g}",
            angle=f"{found.angle_deg:g}",
            per="" if found.activity_known else text("tube.per_becquerel"),
        )
    )
    rows = [
        (
            text(f"tube.part_{one.name}"),
            format_value(one.counts_per_s, one.u_counts_per_s or 0.0, "s⁻¹")
            + (
                ""
                if one.datasheet_scale_counts_per_s is None
                else text("tube.by_sheet", value=f"{one.datasheet_scale_counts_per_s:.3g}")
            ),
        )
        for one in found.components
    ]
    if found.datasheet:
        rows += datasheet_rows(found.datasheet)
    rows += [(text("tube.not_known"), one) for one in found.unknown]
    out.print(pairs(rows))
    for caution in found.cautions:
        out.print(f"· {caution}")
