"""``counterproof pulses FILE``: the clicks of a recording as a rate with its uncertainty."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from counterproof.cli.common import JsonOption, TeachOption
from counterproof.cli.output import console, emit, pairs, progress_bar
from counterproof.texts import text

if TYPE_CHECKING:
    from counterproof.records import PulsesReport


def pulses(
    file: Annotated[Path, typer.Argument(help=text("cli_pulses.file"))],
    channel: Annotated[
        int | None, typer.Option("--channel", min=0, help=text("cli_pulses.channel"))
    ] = None,
    teach: TeachOption = None,
    as_json: JsonOption = False,
) -> None:
    """Count the clicks in a recording and say how sure the rate is."""
    from counterproof.workshop.detect import pulses_of_file, taught_shape

    with progress_bar(text("cli_pulses.listening"), quiet=as_json) as report:
        shape = None if teach is None else taught_shape(teach)
        found = pulses_of_file(file, channel=channel, taught=shape, report=report)
    emit(found, as_json, show)


def show(found: PulsesReport) -> None:
    """Print what was heard for a person."""
    from counterproof.quantities.format import format_estimate, format_interval, format_number

    out = console()
    rows = [(text("cli_pulses.file_row"), found.file)]
    rows.append((text("cli_pulses.heard"), f"{found.live_s:.1f} s"))
    rows.append((text("cli_pulses.count"), str(found.count)))
    if found.rate_per_s is None:
        rows.append((text("cli_pulses.rate"), text("cli_pulses.no_rate")))
    else:
        rate = found.rate_per_s.estimate()
        per_minute = rate.scaled(60.0, "min⁻¹")
        for each in (rate.scaled(1.0, "s⁻¹"), per_minute):
            interval = format_interval(each.low, each.high, each.coverage, each.unit)
            rows.append((text("cli_pulses.rate"), f"{format_estimate(each)}, {interval}"))
    rows.append(
        (text("cli_pulses.resolving"), f"{format_number(1000 * found.resolving_time_s)} ms")
    )
    rows.append((text("cli_pulses.efficiency"), f"{100 * found.efficiency:.1f} %"))
    rows.append((text("cli_pulses.false"), f"{60 * found.false_rate_per_s:.2g} min⁻¹"))
    out.print(pairs(rows))
    for warning in found.warnings:
        out.print(text("cli.warning", sentence=warning))
