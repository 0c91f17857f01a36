"""``counterproof retest``: what a change of an instrument brought, against what was predicted."""

from __future__ import annotations

from typing import TYPE_CHECKING, Annotated

import typer

from counterproof.cli.common import (
    BenchOption,
    FolderArgument,
    InstrumentOption,
    JsonOption,
    KeepOption,
    ProfileOption,
    open_bench,
)
from counterproof.cli.output import console, emit, progress_bar
from counterproof.texts import text

if TYPE_CHECKING:
    from counterproof.records.retest import Retest


def retest(
    instrument: InstrumentOption,
    probe: Annotated[str, typer.Option("--probe", "-p", help=text("cli_retest.probe"))],
    folder: FolderArgument = None,
    before: Annotated[str | None, typer.Option("--before", help=text("cli_retest.before"))] = None,
    trial: Annotated[
        list[str] | None, typer.Option("--trial", help=text("cli_retest.trial"))
    ] = None,
    profile: ProfileOption = "grade_b",
    keep: KeepOption = False,
    bench: BenchOption = None,
    as_json: JsonOption = False,
) -> None:
    """Compare every trial before and after a change, and predictions with measurements."""
    from counterproof.workshop.retesting import keep_retest, retest_instrument

    with open_bench(folder or bench, write=keep) as opened:
        with progress_bar(text("cli_retest.working"), quiet=as_json) as report:
            found = retest_instrument(
                opened,
                instrument,
                probe,
                before=before,
                trials=trial or [],
                profile_name=profile,
                report=report,
            )
        if keep:
            found = keep_retest(opened, found)
    emit(found, as_json, _show)


def _show(found: Retest) -> None:
    from rich.table import Table

    from counterproof.quantities.format import format_estimate

    out = console()
    out.print(found.statement, style="bold")
    table = Table()
    for column in ("quantity", "before", "after", "turn"):
        table.add_column(text(f"retest.column_{column}"), overflow="fold")
    for p in found.pairs:
        if p.verdict_before == "no criterion":
            continue
        sides = ((p.before, p.verdict_before), (p.after, p.verdict_after))
        cells = [f"{format_estimate(m.estimate())} ({v})" for m, v in sides]
        table.add_row(f"{p.trial}: {p.quantity}", *cells, p.turn)
    out.print(table)
    if found.pulls:
        pulls = Table()
        for column in ("prediction", "expected", "measured", "pull"):
            pulls.add_column(text(f"retest.column_{column}"), overflow="fold")
        for each in found.pulls:
            far = "–" if each.pull is None else f"{each.pull:+.1f}"
            shown = [format_estimate(m.estimate()) for m in (each.expected, each.measured)]
            mark = "" if each.inside else f" {text('retest.outside')}"
            pulls.add_row(each.statement, *shown, far + mark)
        out.print(pulls)
    for sentence in (*found.regressions, *found.missing, *found.warnings):
        out.print(text("cli.warning", sentence=sentence))
