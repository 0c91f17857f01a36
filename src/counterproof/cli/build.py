"""``counterproof build-sheet``: drawings, parts, order of work and checks for a probe."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from counterproof.cli.common import (
    BenchOption,
    FolderArgument,
    InstrumentOption,
    JsonOption,
    open_bench,
)
from counterproof.cli.output import console, emit
from counterproof.texts import text

if TYPE_CHECKING:
    from counterproof.records.build import BuildSheet


def build_sheet(
    instrument: InstrumentOption,
    probe: Annotated[str, typer.Option("--probe", "-p", help=text("cli_build.probe"))],
    folder: FolderArgument = None,
    out: Annotated[Path, typer.Option("--out", "-o", help=text("cli_build.out"))] = Path("build"),
    housing: Annotated[bool, typer.Option("--housing", help=text("cli_build.housing"))] = False,
    bench: BenchOption = None,
    as_json: JsonOption = False,
) -> None:
    """Write the build sheet of a probe: wiring, section, parts, order of work, checks."""
    from counterproof.workshop.building import write_build_sheet

    with open_bench(folder or bench) as opened:
        made = write_build_sheet(opened, instrument, probe, out, housing)
    emit(made, as_json, show)


def show(made: BuildSheet) -> None:
    """Print where the sheet lies, its checks and its cautions."""
    out = console()
    for path in made.files:
        out.print(path)
    out.print(text("build.before"), style="bold")
    for check in made.checks:
        out.print(f"  {check.what}: {check.expected}")
    for sentence in made.cautions:
        out.print(text("cli_retrofit.caution", sentence=sentence))
