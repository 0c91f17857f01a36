"""``counterproof trial …``: plan, run and judge the trials of the bench."""

from __future__ import annotations

from typing import TYPE_CHECKING, Annotated

import typer

from counterproof.cli.common import (
    BenchOption,
    InstrumentOption,
    JsonOption,
    ProfileOption,
    open_bench,
)
from counterproof.cli.output import console, emit, pairs, progress_bar
from counterproof.texts import text

if TYPE_CHECKING:
    from counterproof.records import Outcome, Plan
    from counterproof.records.listing import TrialListing
    from counterproof.records.plan import Agenda

trial = typer.Typer(no_args_is_help=True, help=text("cli_trial.about"))

NameArgument = Annotated[str, typer.Argument(help=text("cli_trial.name"))]


@trial.command(name="list")
def list_(as_json: JsonOption = False) -> None:
    """List the trials with what each needs."""
    from counterproof.records.listing import TrialEntry, TrialListing
    from counterproof.workshop.registry import TRIALS

    entries = tuple(
        TrialEntry(
            name=t.name, question=t.question, needs=t.needs, bench_substitute=t.bench_substitute
        )
        for t in TRIALS
    )
    emit(TrialListing(trials=entries), as_json, _show_list)


def _show_list(found: TrialListing) -> None:
    out = console()
    out.print(pairs([(t.name, t.question) for t in found.trials]))
    if found.profiles:
        out.print(pairs(list(found.profiles.items())))


@trial.command()
def profiles(as_json: JsonOption = False) -> None:
    """List the acceptance profiles with their sources."""
    from counterproof.records.listing import TrialListing
    from counterproof.trials.criteria import shipped

    found = {
        key: f"{p.title}. {text('cli_trial.source')}: {p.source}" for key, p in shipped().items()
    }
    emit(TrialListing(profiles=found), as_json, _show_list)


@trial.command()
def plan(
    instrument: InstrumentOption,
    name: Annotated[str | None, typer.Argument(help=text("cli_trial.plan_name"))] = None,
    source: Annotated[
        list[str] | None, typer.Option("--source", "-s", help=text("cli_trial.plan_source"))
    ] = None,
    uncertainty: Annotated[
        str, typer.Option("--uncertainty", help=text("cli_trial.uncertainty"))
    ] = "5 %",
    folder: BenchOption = None,
    as_json: JsonOption = False,
) -> None:
    """Plan a trial: which runs, how long, for the wanted uncertainty; or what all still need."""
    from counterproof.quantities import parse_quantity
    from counterproof.workshop.agenda import agenda_of
    from counterproof.workshop.judging import plan_trial

    relative = parse_quantity(uncertainty, "")
    with open_bench(folder) as opened:
        if name is None:
            agenda = agenda_of(opened, instrument, sources=source or [], relative_u=relative)
            emit(agenda, as_json, _show_agenda)
            return
        made = plan_trial(opened, name, instrument, sources=source or [], relative_u=relative)
    emit(made, as_json, _show_plan)


def _show_agenda(found: Agenda) -> None:
    from rich.table import Table

    out = console()
    table = Table()
    for column in ("trial", "state", "minutes", "needs"):
        table.add_column(text(f"cli_trial.column_{column}"), overflow="fold")
    for each in found.trials:
        state = each.state if each.verdict is None else f"{each.state}: {each.verdict}"
        minutes = text("cli_trial.no_time") if each.minutes is None else f"{each.minutes:.0f}"
        table.add_row(each.trial, state, minutes, "\n".join(each.missing))
    out.print(table)
    minutes = f"{found.total_minutes:.0f}"
    out.print(text("cli_trial.agenda_total", minutes=minutes, instrument=found.instrument))


def _show_plan(found: Plan) -> None:
    from rich.table import Table

    out = console()
    out.print(found.question)
    table = Table()
    for column in ("counter", "what", "minutes", "reason"):
        table.add_column(text(f"cli_trial.column_{column}"), overflow="fold")
    for run in found.runs:
        table.add_row(run.instrument, run.what, f"{run.minutes:.1f}", run.reason)
    out.print(table)
    out.print(
        text("cli_trial.total", minutes=f"{found.total_minutes:.0f}", expected=found.expected)
    )
    for sentence in (*found.needs, found.bench_substitute, *found.cautions):
        if sentence:
            out.print(f"– {sentence}")


@trial.command()
def judge(
    name: NameArgument,
    instrument: InstrumentOption,
    profile: ProfileOption = "grade_b",
    run: Annotated[list[str] | None, typer.Option("--run", help=text("cli_trial.run"))] = None,
    folder: BenchOption = None,
    as_json: JsonOption = False,
) -> None:
    """Judge a trial from the runs on the bench and keep the outcome there."""
    from counterproof.workshop.judging import judge_trial

    with (
        open_bench(folder, write=True) as opened,
        progress_bar(text("workshop.predicting"), quiet=as_json) as report,
    ):
        found = judge_trial(
            opened, name, instrument, profile_name=profile, runs=run or [], report=report
        )
    emit(found, as_json, show_outcome)


def show_outcome(found: Outcome) -> None:
    """Print an outcome for a person."""
    from rich.table import Table

    from counterproof.quantities.format import format_estimate, format_interval

    out = console()
    out.print(f"{found.trial}, {found.instrument}: {found.verdict}", style="bold")
    if found.judgements:
        table = Table()
        for column in ("judged", "measured", "interval", "outcome"):
            table.add_column(text(f"cli_trial.column_{column}"), overflow="fold")
        for j in found.judgements:
            e = j.measured.estimate()
            interval = format_interval(e.low, e.high, e.coverage, e.unit)
            table.add_row(j.quantity, format_estimate(e), interval, j.verdict)
        out.print(table)
        for j in found.judgements:
            if j.criterion is not None:
                out.print(j.statement)
    else:
        out.print(found.statement)
    for warning in found.warnings:
        out.print(text("cli.warning", sentence=warning))
