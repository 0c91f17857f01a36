"""``counterproof export``: numbers and figures of a dossier, for other programs and for a video."""

from __future__ import annotations

from datetime import UTC, datetime
from pathlib import Path
from typing import Annotated

import typer

from counterproof.cli.common import BenchOption, InstrumentOption, JsonOption, open_bench
from counterproof.cli.output import console, emit, progress_bar
from counterproof.errors import UserError
from counterproof.texts import text

EXTRAS = ("places", "notes", "photos", "sound", "frames")


def export(
    instrument: InstrumentOption,
    target: Annotated[Path, typer.Option("--output", "-o", help=text("cli_export.target"))],
    extra: Annotated[list[str] | None, typer.Option("--with", help=text("cli_export.with"))] = None,
    folder: BenchOption = None,
    as_json: JsonOption = False,
) -> None:
    """Write results as CSV and JSON and figures as SVG and PNG; nothing private unless chosen."""
    from counterproof.dossier.export import Chosen, discreet
    from counterproof.dossier.export import export as write
    from counterproof.records.results import results_of
    from counterproof.workshop.publishing import publication_of
    from counterproof.workshop.recordings import copy_recordings

    wanted = set(extra or ())
    unknown = sorted(wanted.difference(EXTRAS))
    if unknown:
        raise UserError(text("cli_export.unknown", given=unknown[0], known=", ".join(EXTRAS)))
    chosen = Chosen(*(name in wanted for name in ("places", "notes", "photos", "frames")))
    with open_bench(folder) as opened:
        built = datetime.now(UTC).replace(microsecond=0)
        content = publication_of(opened, instrument, built=built)
        with progress_bar(text("cli_export.drawing"), quiet=as_json) as report:
            written = write(content, target, chosen, report)
        if "sound" in wanted:
            written += copy_recordings(opened, [r.id for r in content.runs], target / "sound")
    emit(
        results_of(discreet(content, chosen)),
        as_json,
        lambda _: console().print(text("cli_export.done", n=len(written), path=target.resolve())),
    )
