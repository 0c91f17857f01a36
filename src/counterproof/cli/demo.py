"""``counterproof demo``: the invented workshop, from recordings to a published verdict."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from counterproof.cli.common import JsonOption
from counterproof.cli.output import console, say, stages
from counterproof.texts import text

if TYPE_CHECKING:
    from counterproof.records import Publication


def demo(
    folder: Annotated[Path, typer.Argument(help=text("demo.folder"))] = Path("hollow-lane"),
    seed: Annotated[int | None, typer.Option("--seed", help=text("demo.seed"))] = None,
    as_json: JsonOption = False,
) -> None:
    """Make an invented workshop's bench, judge one of its counters and publish the dossier."""
    from counterproof.dossier import write_dossier
    from counterproof.simulate import hollow_lane
    from counterproof.workshop.demo import tell

    say(text("demo.invented"))
    with stages() as stage:
        told = tell(folder, stage, hollow_lane.SEED if seed is None else seed)
        stage(text("demo.publishing"))
        target = folder / "dossier.html"
        write_dossier(told.publication, target, pdf=True)
    if as_json:
        typer.echo(told.publication.to_json())
        return
    _show(told.publication)
    for reason in told.untold:
        say(text("demo.untold", reason=reason))
    console().print(text("demo.dossier", path=target.resolve()), soft_wrap=True)
    console().print(text("demo.bench", path=told.folder.resolve()), soft_wrap=True)


def _show(content: Publication) -> None:
    from rich.table import Table

    from counterproof.quantities.format import format_estimate

    table = Table(title=text("demo.table", instrument=content.instrument), title_justify="left")
    for name in ("trial", "judged", "measured", "outcome"):
        table.add_column(text(f"dossier.{name}"), overflow="fold")
    for outcome in content.outcomes:
        for j in outcome.judgements:
            shown = format_estimate(j.measured.estimate())
            table.add_row(outcome.trial, j.quantity, shown, j.verdict)
        if not outcome.judgements:
            table.add_row(outcome.trial, outcome.headline, "", outcome.verdict)
    console().print(table)
    console().print(text("demo.verdict", instrument=content.instrument, verdict=content.verdict))
    if content.brief is not None:
        for sentence in (*content.brief.points, *content.brief.advice):
            console().print(f"– {sentence}")
