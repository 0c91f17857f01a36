"""``counterproof pulses FILE``: clicks of a recording into a rate with its uncertainty."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from counterproof.cli.output import console, emit, progress_bar
from counterproof.texts import text

if TYPE_CHECKING:
    from counterproof.records import PulsesReport


def pulses(
    file: Annotated[Path, typer.Argument(help=text("cli_pulses.file"))],
    as_json: Annotated[bool, typer.Option("--json", help=text("cli.json"))] = False,
) -> None:
    """Count the clicks in a recording and say how sure the rate is."""
    from counterproof.workshop.detect import pulses_of_file

    with progress_bar(text("cli_pulses.listening"), quiet=as_json) as report:
        found = pulses_of_file(file, report=report)
    emit(found, as_json, _show)


def _show(found: PulsesReport) -> None:
    out = console()
    out.print(found.file)
