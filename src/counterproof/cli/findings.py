"""``counterproof findings``: what the runs on a bench say about an instrument."""

from __future__ import annotations

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
    from counterproof.records.findings import FindingListing


def findings(
    instrument: InstrumentOption,
    folder: FolderArgument = None,
    twin: Annotated[str | None, typer.Option("--twin", help=text("cli_findings.twin"))] = None,
    keep: Annotated[bool, typer.Option("--keep", help=text("cli_findings.keep"))] = False,
    bench: BenchOption = None,
    as_json: JsonOption = False,
) -> None:
    """State what is known about an instrument, how sure it is, and what would refute it."""
    from counterproof.workshop.findings import compare_twins, draw_findings, keep_findings

    with open_bench(folder or bench, write=keep) as opened:
        with progress_bar(text("cli_readout.weighing"), quiet=as_json) as report:
            if twin is not None:
                found = compare_twins(opened, instrument, twin, report)
            else:
                found = draw_findings(opened, instrument, report)
        if keep:
            keep_findings(opened, found)
    emit(found, as_json, show)


def show(found: FindingListing) -> None:
    """Print findings for a person."""
    out = console()
    for finding in found.findings:
        out.print(finding.statement, style="bold")
        strength = finding.strength_words
        out.print(text("cli_findings.evidence", strength=strength, runs=len(finding.runs)))
        for rival in finding.rivals[:3]:
            out.print(text("cli_findings.rival", statement=rival.statement))
        out.print(text("cli_findings.refuted", what=finding.refuted_by))
        if finding.next_measurement is not None:
            following = finding.next_measurement
            out.print(
                text("cli_findings.next", what=following.what, minutes=f"{following.minutes:.0f}")
            )
    for sentence in found.missing:
        out.print(text("cli.warning", sentence=sentence))
