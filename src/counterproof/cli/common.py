"""Options that several commands share, and the bench that they work on."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from counterproof.errors import UserError
from counterproof.texts import text

if TYPE_CHECKING:
    from counterproof.bench import Bench

BenchOption = Annotated[Path | None, typer.Option("--bench", "-b", help=text("cli.bench"))]
FolderArgument = Annotated[Path | None, typer.Argument(help=text("cli_readout.bench"))]
JsonOption = Annotated[bool, typer.Option("--json", help=text("cli.json"))]
InstrumentOption = Annotated[str, typer.Option("--instrument", "-i", help=text("cli.instrument"))]
KeepOption = Annotated[bool, typer.Option("--keep", help=text("cli_calibrate.keep"))]
ProfileOption = Annotated[str, typer.Option("--profile", help=text("cli_trial.profile"))]
# what is said of a run, recorded or live
SourceOption = Annotated[
    list[str] | None, typer.Option("--source", "-s", help=text("cli_add_run.source"))
]
DistanceOption = Annotated[
    str | None, typer.Option("--distance", help=text("cli_add_run.distance"))
]
AngleOption = Annotated[str | None, typer.Option("--angle", help=text("cli_add_run.angle"))]
AbsorberOption = Annotated[
    list[str] | None, typer.Option("--absorber", help=text("cli_add_run.absorber"))
]
ConditionOption = Annotated[
    list[str] | None, typer.Option("--condition", "-c", help=text("cli_add_run.condition"))
]
TeachOption = Annotated[Path | None, typer.Option("--teach", help=text("cli_pulses.teach"))]
YesOption = Annotated[bool, typer.Option("--yes", help=text("cli_add_run.yes"))]


def bench_folder(given: Path | None) -> Path:
    """Return the bench folder: flag, else environment, else settings, else here.

    Raises:
        UserError: if none is named and this folder is no bench.
    """
    from counterproof.workshop.settings import load_settings

    folder = load_settings({"bench": given}).bench
    if folder is None:
        folder = Path.cwd()
        if not (folder / "bench.sqlite").exists():
            raise UserError(text("cli.which_bench"))
    return folder


def open_bench(given: Path | None, write: bool = False) -> Bench:
    """Open the bench that the flag, the environment or the settings name.

    Raises:
        UserError: if there is none, or it cannot be opened.
    """
    from counterproof.bench import Bench

    return Bench.open(bench_folder(given), write=write)
