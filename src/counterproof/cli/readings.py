"""``counterproof readings VIDEO``: the displayed numbers of a filmed counter, with their times."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from counterproof.cli.common import JsonOption
from counterproof.cli.output import console, emit, pairs, progress_bar, say
from counterproof.texts import text

if TYPE_CHECKING:
    from counterproof.records.video import FieldReadings, VideoReport

RegionOption = Annotated[
    list[str] | None, typer.Option("--region", help=text("cli_readings.region"))
]
FormatOption = Annotated[
    list[str] | None, typer.Option("--format", help=text("cli_readings.format"))
]
UnitOption = Annotated[list[str] | None, typer.Option("--unit", help=text("cli_readings.unit"))]
LampOption = Annotated[str | None, typer.Option("--lamp", help=text("cli_readings.lamp"))]
EveryOption = Annotated[str, typer.Option("--every", help=text("cli_readings.every"))]
MarkedOption = Annotated[str, typer.Option("--marked-at", help=text("cli_readings.marked_at"))]


def readings(
    video: Annotated[Path, typer.Argument(help=text("cli_readings.video"))],
    region: RegionOption = None,
    form: FormatOption = None,
    unit: UnitOption = None,
    field: Annotated[
        list[str] | None, typer.Option("--field", help=text("cli_readings.field"))
    ] = None,
    teach: Annotated[Path | None, typer.Option("--teach", help=text("cli_readings.teach"))] = None,
    sheet: Annotated[Path | None, typer.Option("--sheet", help=text("cli_readings.sheet"))] = None,
    save_glyphs: Annotated[
        Path | None, typer.Option("--save-glyphs", help=text("cli_readings.save_glyphs"))
    ] = None,
    lamp: LampOption = None,
    every: EveryOption = "0.2 s",
    marked_at: MarkedOption = "0 s",
    as_json: JsonOption = False,
) -> None:
    """Read the displayed numbers out of a video; what is doubtful is asked, never guessed."""
    from counterproof.quantities import parse_quantity
    from counterproof.workshop import filming
    from counterproof.workshop.detect import train_of_file

    what = filming.declared(
        region or (),
        form or (),
        unit or (),
        field or (),
        every_s=parse_quantity(every, "s"),
        at_s=parse_quantity(marked_at, "s"),
        lamp=lamp,
    )
    clicks = None
    with progress_bar(text("cli_readings.watching"), quiet=as_json) as report:
        found = filming.read_video(video, what, teach, report)
        if lamp is not None and found.watched.video.has_sound:
            clicks = train_of_file(video)
    written = None
    if found.sheet.open:
        target = sheet or _beside(teach, video)
        written, picture = found.sheet.write(target)
        key = "more_to_key" if found.readings else "to_key"
        count = len(found.sheet.open)
        say(text(f"cli_readings.{key}", count=count, picture=picture, table=written))
    if save_glyphs is not None and found.sheet.keyed:
        found.sheet.glyphs().save(save_glyphs)
    emit(filming.report_of(video, what, found, written, clicks), as_json, show)


def _beside(teach: Path | None, video: Path) -> Path:
    if teach is not None and teach.suffix.lower() == ".csv":
        return teach
    return video.with_name(f"{video.stem}-sheet.csv")


def show(found: VideoReport) -> None:
    """Print the readings for a person."""
    out = console()
    rows = [(text("cli_readings.file"), f"{found.file}, {found.duration_s:.1f} s")]
    rows += _rows(found)
    for more in found.more:
        rows += _rows(more)
    if found.flashes_s is not None:
        rows.append((text("cli_readings.flashes"), str(len(found.flashes_s))))
    if found.clock_offset_s is not None:
        from counterproof.quantities.format import format_estimate

        offset = found.clock_offset_s.estimate()
        rows.append((text("cli_readings.offset"), format_estimate(offset)))
    rows.append((text("cli_readings.keyed"), str(found.keyed)))
    rows.append((text("cli_readings.asked"), str(len(found.asked))))
    out.print(pairs(rows))
    for warning in found.warnings:
        out.print(text("cli.warning", sentence=warning))


def _rows(found: VideoReport | FieldReadings) -> list[tuple[str, str]]:
    if not found.values:
        return [(text(f"cli_readings.{found.field}"), text("cli_readings.none_yet"))]
    from counterproof.quantities.format import format_estimate

    low, high = min(found.values), max(found.values)
    name = text(f"cli_readings.{found.field}")
    rows = [
        (
            name,
            text(
                "cli_readings.summary",
                count=len(found.values),
                low=f"{low:g}",
                high=f"{high:g}",
                unit=found.unit,
                share=f"{100 * found.given_share:.1f}",
            ),
        )
    ]
    if found.refresh_s is not None:
        rows.append((text("cli_readings.refresh"), format_estimate(found.refresh_s.estimate())))
    return rows
