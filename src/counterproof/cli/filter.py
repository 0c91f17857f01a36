"""``counterproof filter``: foils that flatten a tube's energy response."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from counterproof.cli.common import JsonOption
from counterproof.cli.output import console, emit, pairs, progress_bar
from counterproof.texts import text

if TYPE_CHECKING:
    from counterproof.records.filter import FilterReport


def filter_(
    tube: Annotated[Path, typer.Argument(help=text("cli_filter.tube"))],
    metal: Annotated[
        list[str] | None, typer.Option("--metal", "-m", help=text("cli_filter.metal"))
    ] = None,
    layers: Annotated[int, typer.Option(min=1, max=2, help=text("cli_filter.layers"))] = 2,
    band: Annotated[float, typer.Option(help=text("cli_filter.band"))] = 30.0,
    least: Annotated[float, typer.Option(help=text("cli_filter.least"))] = 50.0,
    low: Annotated[float, typer.Option("--from", help=text("cli_filter.low"))] = 60.0,
    high: Annotated[float, typer.Option("--to", help=text("cli_filter.high"))] = 1250.0,
    confirm: Annotated[bool, typer.Option("--confirm", help=text("cli_filter.confirm"))] = False,
    as_json: JsonOption = False,
) -> None:
    """Choose foils and an open fraction that bring a tube's H*(10) response into a band."""
    from counterproof.kit import Tube
    from counterproof.retrofit.filters import STOCK_MM
    from counterproof.workshop.filtering import filter_for

    with progress_bar(text("cli_filter.computing"), quiet=as_json) as report:
        found = filter_for(
            Tube.load(tube), metals=metal or tuple(STOCK_MM), layers=layers, band=band / 100.0,
            least_kept=least / 100.0, low_kev=low, high_kev=high, confirm=confirm, report=report,
        )  # fmt: skip
    emit(found, as_json, show)


def show(found: FilterReport) -> None:
    """Print a filter for a person."""
    from counterproof.quantities.format import format_estimate

    out = console()
    out.print(found.statement, style="bold")
    low, high = found.departure_interval
    rows = [
        (text("cli_filter.row.departure"), format_estimate(found.departure.estimate())),
        (text("cli_filter.row.kept"), format_estimate(found.kept.estimate())),
        (text("cli_filter.row.bare"), f"{found.bare_departure:.3g}"),
        (
            text("cli_filter.row.built"),
            text("cli_filter.built", low=f"{100 * low:.0f}", high=f"{100 * high:.0f}",
                 within=f"{100 * found.within_band:.0f}"),
        ),
    ]  # fmt: skip
    if found.confirmed is not None:
        rows.append((text("cli_filter.row.confirmed"), format_estimate(found.confirmed.estimate())))
    out.print(pairs(rows))
    for sentence in (*found.unknown, *found.assumptions, *found.cautions):
        out.print(text("cli.warning", sentence=sentence))
