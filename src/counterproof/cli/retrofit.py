"""``counterproof retrofit``: what another tube, probe or setting would bring."""

from __future__ import annotations

from collections.abc import Callable
from typing import TYPE_CHECKING, Annotated

import typer

from counterproof.cli.common import (
    BenchOption,
    FolderArgument,
    InstrumentOption,
    JsonOption,
    open_bench,
)
from counterproof.cli.output import console, emit, progress_bar
from counterproof.texts import text

if TYPE_CHECKING:
    from counterproof.records import CandidateOutlook, Measured, Outlook


def retrofit(
    instrument: InstrumentOption,
    candidates: Annotated[
        list[str], typer.Option("--candidates", "-c", help=text("cli_retrofit.candidates"))
    ],
    folder: FolderArgument = None,
    source: Annotated[
        list[str] | None, typer.Option("--source", "-s", help=text("cli_retrofit.source"))
    ] = None,
    wish: Annotated[
        list[str] | None, typer.Option("--wish", "-w", help=text("cli_retrofit.wish"))
    ] = None,
    over: Annotated[str, typer.Option("--range", help=text("cli_retrofit.range"))] = "0.1..20",
    room: Annotated[str, typer.Option("--room", help=text("cli_retrofit.room"))] = "",
    aim: Annotated[str, typer.Option("--aim", help=text("cli_retrofit.aim"))] = "worst",
    blind: Annotated[bool, typer.Option("--blind", help=text("cli_retrofit.blind"))] = False,
    inferred: Annotated[
        bool, typer.Option("--inferred-readout", help=text("cli_retrofit.inferred"))
    ] = False,
    keep: Annotated[bool, typer.Option("--keep", help=text("cli_retrofit.keep"))] = False,
    bench: BenchOption = None,
    as_json: JsonOption = False,
) -> None:
    """Predict what other tubes or probes would bring, and which setting is best."""
    from counterproof.workshop.retrofits import Asked, keep_outlook, propose_retrofit

    names = tuple(n.strip() for each in candidates for n in each.split(",") if n.strip())
    asked = Asked(
        instrument, names, tuple(source or ()), tuple(wish or ()), over, room, aim, not blind
    )
    with open_bench(folder or bench, write=keep) as opened:
        readout = None
        if inferred:
            from counterproof.workshop.readout import readout_of_bench

            with progress_bar(text("cli_readout.weighing"), quiet=as_json) as report:
                readout = readout_of_bench(opened, instrument, report=report)
        with progress_bar(text("cli_retrofit.computing"), quiet=as_json) as report:
            found = propose_retrofit(opened, asked, readout, report)
        if keep:
            keep_outlook(opened, found)
    emit(found, as_json, show)


def show(found: Outlook) -> None:
    """Print an outlook for a person."""
    from rich.table import Table

    out = console()
    out.print(found.statement, style="bold")
    table = Table(title=text("cli_retrofit.table", instrument=found.instrument))
    table.add_column("")
    for c in found.candidates:
        table.add_column(c.name + (f" ({text('cli_retrofit.today')})" if c.today else ""))
    for label, cells in rows(found):
        table.add_row(label, *cells)
    out.print(table)
    for c in found.candidates:
        for check in c.checks:
            if check.verdict != "fits":
                out.print(f"{c.name}: {check.statement}")
    for b in found.binding:
        out.print(b.statement)
    if found.plan is not None:
        out.print(text("cli_retrofit.plan", minutes=f"{found.plan.total_minutes:.0f}"))
        for run in found.plan.runs:
            what = ", ".join((*run.sources, run.what))
            out.print(f"  {run.minutes:g} min: {what} ({run.reason})")
    for sentence in (*found.warnings, *found.assumptions):
        out.print(text("cli.warning", sentence=sentence))
    for sentence in found.cautions:
        out.print(text("cli_retrofit.caution", sentence=sentence))


def rows(found: Outlook) -> list[tuple[str, list[str]]]:
    """Return the table of figures: a label and one cell for each candidate."""
    figures: list[tuple[str, Callable[[CandidateOutlook], str]]] = [
        ("fit", lambda c: c.verdict),
        ("sensitivity", lambda c: _cell(c.sensitivity, 60.0, "cpm/(µSv/h)")),
        ("background", lambda c: _cell(c.background, 60.0, "cpm")),
        ("time", lambda c: _cell(c.time_to_10_percent, 1.0 / 60.0, "min")),
        ("detection", lambda c: _cell(c.detection_limit)),
        ("top", lambda c: f"{_cell(c.top_of_range)} ({c.top_because})"),
        ("energy", lambda c: _cell(c.energy_departure)),
        ("endurance", lambda c: _cell(c.endurance_h)),
        ("error", lambda c: _cell(c.worst_error, 100.0, "%")),
        ("setting", _settings),
    ]
    table = [(text(f"cli_retrofit.row.{k}"), [f(c) for c in found.candidates]) for k, f in figures]
    names = dict.fromkeys(s.source for c in found.candidates for s in c.sources)
    for name in names:
        for key in ("counts", "gain", "beta"):
            cells = []
            for c in found.candidates:
                s = next((s for s in c.sources if s.source == name), None)
                picked = (
                    {"counts": s.counts_per_s, "gain": s.gain, "beta": s.beta_efficiency}
                    if s
                    else {}
                )
                cells.append(_cell(picked.get(key)))
            if any(cells):
                table.append((text(f"cli_retrofit.row.{key}", source=name), cells))
    return table


def _cell(measured: Measured | None, scale: float = 1.0, unit: str | None = None) -> str:
    from counterproof.quantities.format import format_estimate

    if measured is None or measured.value is None:
        return ""
    e = measured.estimate()
    return format_estimate(e.scaled(scale, e.unit if unit is None else unit))


def _settings(c: CandidateOutlook) -> str:
    return "; ".join(f"{s.name} {s.best.value:g} {s.unit}" for s in c.settings)
