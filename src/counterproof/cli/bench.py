"""``counterproof bench …``: make, look at, check, carry elsewhere."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from counterproof.cli.common import BenchOption, JsonOption, open_bench
from counterproof.cli.output import console, emit, pairs, progress_bar, say
from counterproof.errors import UserError
from counterproof.texts import text

if TYPE_CHECKING:
    from counterproof.records import Run
    from counterproof.records.listing import BenchCheck, BenchSummary, RunListing

bench = typer.Typer(no_args_is_help=True, help=text("cli_bench.about"))


@bench.command()
def create(
    folder: Annotated[Path, typer.Argument(help=text("cli_bench.new_folder"))],
    name: Annotated[str, typer.Option("--name", help=text("cli_bench.name"))] = "",
) -> None:
    """Make a new bench in a new or empty folder."""
    from counterproof.bench import Bench

    with Bench.create(folder, name) as made:
        say(text("cli_bench.made", folder=made.folder))


@bench.command()
def show(folder: BenchOption = None, as_json: JsonOption = False) -> None:
    """Show what lies on the bench and the suggested next step."""
    from counterproof.workshop.overview import summary_of

    with open_bench(folder) as opened:
        emit(summary_of(opened), as_json, _show_summary)


def _show_summary(found: BenchSummary) -> None:
    out = console()
    rows = [(kind, str(count)) for kind, count in found.items.items()]
    rows += list(found.outcomes.items())
    out.print(text("cli_bench.title", name=found.name, folder=found.folder), soft_wrap=True)
    out.print(pairs(rows))
    out.print(text("cli_bench.next", step=found.next_step))


@bench.command()
def runs(
    folder: BenchOption = None,
    instrument: Annotated[str | None, typer.Option("--instrument", "-i")] = None,
    as_json: JsonOption = False,
) -> None:
    """List the runs with their count rates."""
    from counterproof.records import Run
    from counterproof.records.listing import RunListing
    from counterproof.workshop.overview import run_summary

    with open_bench(folder) as opened:
        held = opened.list(Run, instrument)
        found = RunListing(runs=tuple(run_summary(opened, r) for r in held))
    emit(found, as_json, _show_runs)


def _show_runs(found: RunListing) -> None:
    from rich.table import Table

    from counterproof.quantities.format import format_estimate

    table = Table()
    for column in ("run", "counter", "with", "length", "rate"):
        table.add_column(text(f"cli_bench.column_{column}"), overflow="fold")
    for each in found.runs:
        run = each.run
        rate = "–" if each.rate_per_s is None else format_estimate(each.rate_per_s.estimate())
        length = f"{run.duration_s:.0f} s"
        if run.interrupted:
            length += f", {text('dossier.interrupted')}"
        table.add_row(run.id, run.instrument, _with_what(run), length, rate)
    console().print(table)


def _with_what(run: Run) -> str:
    if not run.sources:
        return text("dossier.background")
    distance = run.position.distance_mm
    return " + ".join(run.sources) + (f", {distance:g} mm" if distance is not None else "")


@bench.command()
def check(folder: BenchOption = None, as_json: JsonOption = False) -> None:
    """Check that everything on the bench is whole (exit code 2 if not)."""
    from counterproof.bench import check as check_bench
    from counterproof.records.listing import BenchCheck

    # opened for writing first, so that what a crash left behind is cleared up
    with open_bench(folder, write=True) as opened:
        with progress_bar(text("cli_bench.checking"), quiet=as_json) as report:
            told = check_bench(opened, report)
        found = BenchCheck(
            folder=str(opened.folder),
            ok=told.ok,
            problems=told.problems,
            notes=told.notes,
            items=told.items,
            files=told.files,
        )
    emit(found, as_json, _show_check)
    if not found.ok:
        raise UserError(text("cli_bench.not_whole", folder=found.folder, count=len(found.problems)))


def _show_check(found: BenchCheck) -> None:
    out = console()
    for sentence in (*found.problems, *found.notes):
        out.print(sentence)
    if found.ok:
        out.print(text("cli_bench.whole", items=found.items, files=found.files))


@bench.command()
def export(
    target: Annotated[Path, typer.Argument(help=text("cli_bench.export_target"))],
    folder: BenchOption = None,
    recordings: Annotated[
        bool, typer.Option("--recordings", help=text("cli_bench.recordings"))
    ] = False,
) -> None:
    """Write the whole bench to one file."""
    from counterproof.bench import export_bench

    with open_bench(folder) as opened, progress_bar(text("cli_bench.exporting")) as report:
        say(text("cli_bench.exported", path=export_bench(opened, target, recordings, report)))


@bench.command(name="import")
def import_(
    source: Annotated[Path, typer.Argument(help=text("cli_bench.import_source"))],
    folder: Annotated[Path, typer.Argument(help=text("cli_bench.new_folder"))],
) -> None:
    """Unpack an exported bench into a new folder."""
    from counterproof.bench import import_bench

    with progress_bar(text("cli_bench.importing")) as report:
        import_bench(source, folder, report)
    say(text("cli_bench.imported", folder=folder))


@bench.command()
def remove(
    run: Annotated[str, typer.Argument(help=text("cli_bench.run_id"))],
    folder: BenchOption = None,
    why: Annotated[str, typer.Option("--why", help=text("cli_bench.why"))] = "",
) -> None:
    """Take a run out of the lists; its files and history stay, and 'restore' brings it back."""
    from counterproof.records import Run

    with open_bench(folder, write=True) as opened:
        opened.delete(Run, run, why)
        say(text("cli_bench.removed", run=run))


@bench.command()
def restore(
    run: Annotated[str, typer.Argument(help=text("cli_bench.run_id"))], folder: BenchOption = None
) -> None:
    """Bring back a run that was taken out."""
    from counterproof.records import Run

    with open_bench(folder, write=True) as opened:
        whole = [r for r in opened.history(Run, run) if not r.deleted]
        opened.restore(Run, run, whole[-1].number)
        say(text("cli_bench.restored", run=run))
