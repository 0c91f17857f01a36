"""``counterproof dossier``: write what was found about a counter."""

from __future__ import annotations

from datetime import UTC, datetime
from pathlib import Path
from typing import Annotated

import typer

from counterproof.cli.common import (
    BenchOption,
    InstrumentOption,
    JsonOption,
    ProfileOption,
    open_bench,
)
from counterproof.cli.output import say
from counterproof.texts import text


def dossier(
    instrument: InstrumentOption,
    target: Annotated[Path, typer.Option("--output", "-o", help=text("cli_dossier.target"))] = Path(
        "dossier.html"
    ),
    profile: ProfileOption = "grade_b",
    pdf: Annotated[bool, typer.Option("--pdf", help=text("cli_dossier.pdf"))] = False,
    folder: BenchOption = None,
    as_json: JsonOption = False,
) -> None:
    """Judge every trial anew and write the dossier, HTML with its content as JSON beside it."""
    from counterproof.dossier import write_dossier
    from counterproof.trials.criteria import profile as criteria
    from counterproof.workshop.judging import judge_all
    from counterproof.workshop.publishing import publication_of

    with open_bench(folder, write=True) as opened:
        judge_all(opened, instrument, profile_name=profile)
        content = publication_of(
            opened,
            instrument,
            built=datetime.now(UTC).replace(microsecond=0),
            profile_title=criteria(profile).title,
        )
    write_dossier(content, target, pdf)
    if as_json:
        typer.echo(content.to_json())
    say(text("demo.dossier", path=target.resolve()))
