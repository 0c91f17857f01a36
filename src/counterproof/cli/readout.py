"""``counterproof readout``: the firmware behind a display, from clicks and readings."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from counterproof.cli.common import BenchOption, FolderArgument, JsonOption, open_bench
from counterproof.cli.output import console, emit, pairs, progress_bar
from counterproof.errors import UserError
from counterproof.texts import text

if TYPE_CHECKING:
    from counterproof.records import Measured
    from counterproof.records.readout import ReadoutReport


def readout(
    folder: FolderArgument = None,
    instrument: Annotated[
        str | None, typer.Option("--instrument", "-i", help=text("cli.instrument"))
    ] = None,
    run: Annotated[list[str] | None, typer.Option("--run", help=text("cli_readout.run"))] = None,
    pulses: Annotated[
        Path | None, typer.Option("--pulses", help=text("cli_readout.pulses"))
    ] = None,
    readings: Annotated[
        Path | None, typer.Option("--readings", help=text("cli_readout.readings"))
    ] = None,
    per_click: Annotated[
        int, typer.Option("--pulses-per-click", min=1, help=text("cli_readout.per_click"))
    ] = 1,
    bench: BenchOption = None,
    as_json: JsonOption = False,
) -> None:
    """Infer factors, switch, window and rounding of a display from clicks and readings."""
    from counterproof.workshop.readout import readout_of_bench, readout_of_files

    with progress_bar(text("cli_readout.weighing"), quiet=as_json) as report:
        if readings is not None and instrument is None:
            found = readout_of_files(pulses, readings, per_click, report)
        elif instrument is not None and pulses is None and readings is None:
            with open_bench(folder or bench) as opened:
                found = readout_of_bench(opened, instrument, run or (), report)
        else:
            raise UserError(text("cli_readout.which"))
    emit(found, as_json, show)


def show(found: ReadoutReport) -> None:
    """Print a firmware for a person."""
    out = console()
    rows = [(text("cli_readout.model"), found.model)]
    rows += [(text("cli_readout.factor"), _words(f)) for f in found.factors_cpm_per_usv_h]
    if found.factor_ratio is not None:
        rows.append((text("cli_readout.factor_ratio"), _words(found.factor_ratio)))
    for name in ("switch_usv_h", "time_constant_s", "quantum_usv_h", "refresh_s"):
        value: Measured | None = getattr(found, name)
        rows.append((text(f"cli_readout.{name}"), text("cli_readout.unknown")))
        if value is not None:
            rows[-1] = (rows[-1][0], _words(value))
    out.print(pairs(rows))
    for sentence in found.evidence.statements:
        out.print(f"– {sentence}")
    for sentence in found.missing:
        out.print(text("cli.warning", sentence=sentence))


def _words(measured: Measured) -> str:
    from counterproof.quantities.format import format_estimate, format_interval

    e = measured.estimate()
    return f"{format_estimate(e)}, {format_interval(e.low, e.high, e.coverage, e.unit)}"
