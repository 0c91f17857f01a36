"""``counterproof compare``: counters over sources, and the day that compares them."""

from __future__ import annotations

from typing import TYPE_CHECKING, Annotated

import typer

from counterproof.cli.common import (
    BenchOption,
    FolderArgument,
    JsonOption,
    KeepOption,
    ProfileOption,
    open_bench,
)
from counterproof.cli.output import console, emit, progress_bar
from counterproof.texts import text

if TYPE_CHECKING:
    from counterproof.records.comparison import Comparison, Schedule


def compare(
    folder: FolderArgument = None,
    instrument: Annotated[
        list[str] | None, typer.Option("--instrument", "-i", help=text("cli_compare.instrument"))
    ] = None,
    source: Annotated[
        list[str] | None, typer.Option("--source", "-s", help=text("cli_compare.source"))
    ] = None,
    profile: ProfileOption = "grade_b",
    schedule: Annotated[
        bool, typer.Option("--schedule", help=text("cli_compare.schedule"))
    ] = False,
    hours: Annotated[float, typer.Option("--hours", help=text("cli_compare.hours"))] = 6.0,
    places: Annotated[int, typer.Option("--places", help=text("cli_compare.places"))] = 1,
    keep: KeepOption = False,
    bench: BenchOption = None,
    as_json: JsonOption = False,
) -> None:
    """Compare counters over sources: ratios, grades, and a ranking with how sure it is."""
    from counterproof.kit import Instrument, Source
    from counterproof.workshop.comparing import compare_instruments, keep_comparison, plan_day

    with open_bench(folder or bench, write=keep) as opened:
        if schedule:
            names = instrument or list(opened.names(Instrument))
            wanted = source or list(opened.names(Source))
            made = plan_day(opened, names, wanted, hours=hours, places=places)
            emit(made, as_json, _show_day)
            return
        with progress_bar(text("cli_compare.comparing"), quiet=as_json) as report:
            found = compare_instruments(opened, instrument or [], source or [], profile, report)
        if keep:
            found = keep_comparison(opened, found)
    emit(found, as_json, _show)


def _show(found: Comparison) -> None:
    from rich.table import Table

    from counterproof.quantities.format import format_estimate, format_number

    out = console()
    table = Table(title=text("cli_compare.ratios"), title_justify="left")
    table.add_column("")
    for source in found.truth:
        table.add_column(source, overflow="fold")
    for name in found.instruments:
        own = {r.source: r for r in found.ratios if r.instrument == name and r.ratio}
        cells = [
            format_estimate(own[s].ratio.estimate()) if s in own else "–"  # type: ignore[union-attr]
            for s in found.truth
        ]
        table.add_row(name, *cells)
    out.print(table)
    ranking = Table(title=text("cli_compare.ranking"), title_justify="left")
    for column in ("counter", "deviation", "grade", "possible", "worst", "sure"):
        ranking.add_column(text(f"cli_compare.column_{column}"), overflow="fold")
    for p in found.ranking:
        low, high = (format_number(x or 0.0, 2) for x in (p.deviation_low, p.deviation_high))
        sure = "" if p.before_next is None else f"{100 * p.before_next:.0f} %"
        shown = f"{format_number(p.deviation_percent or 0.0, 2)} % ({low}…{high})"
        ranking.add_row(p.instrument, shown, p.grade, p.at_best, p.worst_source, sure)
    out.print(ranking)
    if found.order_probability is not None:
        out.print(text("cli_compare.order", percent=f"{100 * found.order_probability:.0f}"))
    for source, what in found.truth.items():
        out.print(text("cli_compare.truth", source=source, what=what))
    for warning in found.warnings:
        out.print(text("cli.warning", sentence=warning))


def _show_day(found: Schedule) -> None:
    from rich.table import Table

    out = console()
    table = Table()
    for column in ("slot", "start", "minutes", "source", "places"):
        table.add_column(text(f"cli_compare.column_{column}"), overflow="fold")
    for slot in found.slots:
        table.add_row(
            str(slot.number),
            f"{slot.start_minute:.0f}",
            f"{slot.minutes:.0f}",
            slot.source or text("calibration.background"),
            ", ".join(slot.places),
        )
    out.print(table)
    for sentence in (*found.remarks, *found.cautions):
        out.print(f"– {sentence}")
