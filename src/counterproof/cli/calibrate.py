"""``counterproof calibrate``: the factor of an instrument, how sure, and how much may be said."""

from __future__ import annotations

from typing import TYPE_CHECKING, Annotated

import typer

from counterproof.cli.common import (
    BenchOption,
    FolderArgument,
    InstrumentOption,
    JsonOption,
    KeepOption,
    open_bench,
)
from counterproof.cli.output import console, emit
from counterproof.texts import text

if TYPE_CHECKING:
    from counterproof.calibration import Assumptions
    from counterproof.records.calibration import Band, Calibration


def calibrate(
    instrument: InstrumentOption,
    folder: FolderArgument = None,
    probe: Annotated[
        str | None, typer.Option("--probe", "-p", help=text("cli_calibrate.probe"))
    ] = None,
    switch: Annotated[
        str | None, typer.Option("--switch", help=text("cli_calibrate.switch"))
    ] = None,
    nuclide: Annotated[str, typer.Option("--nuclide", help=text("cli_calibrate.nuclide"))] = "",
    run: Annotated[list[str] | None, typer.Option("--run", help=text("cli_calibrate.run"))] = None,
    offset: Annotated[str, typer.Option("--offset-u", help=text("cli_calibrate.offset"))] = "2 mm",
    scatter: Annotated[
        str, typer.Option("--scatter", help=text("cli_calibrate.scatter"))
    ] = "0..10 %",
    dead_time: Annotated[
        str, typer.Option("--dead-time", help=text("cli_calibrate.dead_time"))
    ] = "40..200 µs",
    keep: KeepOption = False,
    bench: BenchOption = None,
    as_json: JsonOption = False,
) -> None:
    """Calibrate an instrument from its ladder, its references, or both; or check it, if less."""
    from counterproof.kit.fields import nuclide_name
    from counterproof.workshop.calibrating import calibrate_instrument, keep_calibration

    assumed = _assumed(offset, scatter, dead_time)
    with open_bench(folder or bench, write=keep) as opened:
        found = calibrate_instrument(
            opened,
            instrument,
            probe=probe,
            switch_state=switch,
            nuclide=nuclide_name(nuclide) if nuclide else "",
            runs=run or [],
            assumed=assumed,
        )
        if keep:
            found = keep_calibration(opened, found)
    emit(found, as_json, show)


def _assumed(offset: str, scatter: str, dead_time: str) -> Assumptions:
    """Read what is assumed of effective centre, scatter and dead time."""
    from counterproof.calibration import Assumptions
    from counterproof.calibration.problem import Prior
    from counterproof.quantities import parse_quantity, parse_range

    def span(given: str, unit: str) -> Prior:
        low, high = parse_range(given, unit)
        return Prior.within((low + high) / 2.0, (high - low) / 2.0, text("calibration.assumed"))

    return Assumptions(
        Prior(0.0, parse_quantity(offset, "mm"), source=text("calibration.assumed")),
        span(scatter, ""),
        span(dead_time, "s"),
    )


def show(found: Calibration) -> None:
    """Print a calibration for a person."""
    from rich.table import Table

    from counterproof.calibration import says
    from counterproof.quantities.format import format_estimate, format_number

    out = console()
    first, *rest = says(found)
    out.print(first, style="bold")
    for sentence in rest:
        out.print(sentence)
    table = Table()
    for column in ("level", "true", "shown", "factor", "remaining"):
        table.add_column(text(f"cli_calibrate.column_{column}"), overflow="fold")
    for level in found.levels:
        cells = [level.true, level.shown, level.factor]
        shown = ["–" if c is None else format_estimate(c.estimate()) for c in cells]
        left = level.remaining_percent
        table.add_row(level.label, *shown, "–" if left is None else f"{format_number(left, 2)} %")
    out.print(table)
    for band in found.bands:
        out.print(_budget(band))
    for warning in found.warnings:
        out.print(text("cli.warning", sentence=warning))


def _budget(band: Band) -> object:
    from rich.table import Table

    from counterproof.quantities.format import format_number

    table = Table(title=text("calibration.budget_of", where=band.where), title_justify="left")
    for column in ("component", "type", "distribution", "contribution", "dof"):
        table.add_column(text(f"calibration.column_{column}"), overflow="fold")
    for row in band.budget:
        table.add_row(
            row.name,
            row.evaluation,
            row.distribution,
            f"{format_number(row.contribution_percent, 2)} %",
            "∞" if row.dof is None else f"{row.dof:.0f}",
        )
    k, expanded = band.coverage_factor or 0.0, band.expanded_percent or 0.0
    table.add_row(
        text("calibration.expanded", k=f"{k:.2f}"),
        "",
        "",
        f"{format_number(expanded, 2)} %",
        "∞" if band.dof is None else f"{band.dof:.0f}",
        style="bold",
    )
    return table
