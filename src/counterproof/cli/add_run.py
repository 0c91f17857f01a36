"""``counterproof add-run``: put a recording, a table or typed readings on the bench as a run."""

from __future__ import annotations

from datetime import UTC, datetime
from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from counterproof.cli.common import (
    AbsorberOption,
    AngleOption,
    BenchOption,
    ConditionOption,
    DistanceOption,
    InstrumentOption,
    JsonOption,
    SourceOption,
    TeachOption,
    YesOption,
    open_bench,
)
from counterproof.cli.output import console, emit, pairs, progress_bar, say
from counterproof.cli.readings import (
    EveryOption,
    FormatOption,
    LampOption,
    MarkedOption,
    RegionOption,
    UnitOption,
)
from counterproof.errors import UserError
from counterproof.texts import text

if TYPE_CHECKING:
    from counterproof.records.listing import RunListing
    from counterproof.signals.mapping import Mapping


def add_run(
    instrument: InstrumentOption,
    recordings: Annotated[
        list[Path] | None, typer.Argument(help=text("cli_add_run.recording"))
    ] = None,
    table: Annotated[
        list[Path] | None, typer.Option("--table", help=text("cli_add_run.table"))
    ] = None,
    columns: Annotated[
        list[str] | None, typer.Option("--column", help=text("cli_add_run.column"))
    ] = None,
    mapping: Annotated[
        Path | None, typer.Option("--mapping", help=text("cli_add_run.mapping"))
    ] = None,
    yes: YesOption = False,
    reading: Annotated[
        list[str] | None, typer.Option("--reading", help=text("cli_add_run.reading"))
    ] = None,
    field: Annotated[str, typer.Option("--field", help=text("cli_add_run.field"))] = "momentary",
    lasted: Annotated[str | None, typer.Option("--lasted", help=text("cli_add_run.lasted"))] = None,
    source: SourceOption = None,
    distance: DistanceOption = None,
    distance_uncertainty: Annotated[
        str | None,
        typer.Option("--distance-uncertainty", help=text("cli_add_run.distance_uncertainty")),
    ] = None,
    angle: AngleOption = None,
    absorber: AbsorberOption = None,
    condition: ConditionOption = None,
    place: Annotated[str, typer.Option("--place", help=text("cli_add_run.place"))] = "",
    probe: Annotated[str | None, typer.Option("--probe", help=text("cli_add_run.probe"))] = None,
    started: Annotated[
        str | None, typer.Option("--started", help=text("cli_add_run.started"))
    ] = None,
    teach: TeachOption = None,
    channel: Annotated[
        int | None, typer.Option("--channel", min=0, help=text("cli_pulses.channel"))
    ] = None,
    region: RegionOption = None,
    form: FormatOption = None,
    unit: UnitOption = None,
    keyed: Annotated[Path | None, typer.Option("--keyed", help=text("cli_add_run.keyed"))] = None,
    lamp: LampOption = None,
    every: EveryOption = "0.2 s",
    marked_at: MarkedOption = "0 s",
    name: Annotated[str, typer.Option("--name", help=text("cli_add_run.name"))] = "",
    note: Annotated[str, typer.Option("--note", help=text("cli_add_run.note"))] = "",
    folder: BenchOption = None,
    as_json: JsonOption = False,
) -> None:
    """Put a recording, a table or typed readings on the bench as one run of a counter."""
    from counterproof.quantities import parse_quantity
    from counterproof.records import Run
    from counterproof.records.listing import RunListing
    from counterproof.workshop import capture, filming
    from counterproof.workshop import surroundings as around
    from counterproof.workshop.detect import taught_shape
    from counterproof.workshop.overview import run_summary

    seconds = 0.0 if lasted is None else parse_quantity(lasted, "s")
    typed = []
    if reading:
        if field not in ("momentary", "average", "accumulated"):
            raise UserError(text("cli_add_run.which_field", given=field))
        if seconds <= 0.0:
            raise UserError(text("cli_add_run.how_long"))
        typed.append(capture.typed_readings(reading, seconds, field))
    tables = [(t, _mapping(t, columns or [], mapping, yes)) for t in table or []]
    run = Run(
        id=name,
        instrument=instrument,
        probe=probe,
        position=around.typed_position(
            distance=distance,
            distance_uncertainty=distance_uncertainty,
            angle=angle,
            absorbers=absorber or (),
            place=place,
        ),
        conditions=around.typed_conditions(condition or ()),
        sources=tuple(source or ()),
        started_utc=_moment(started),
        duration_s=seconds,
        note=note,
    )
    with open_bench(folder, write=True) as opened:
        with progress_bar(text("cli_pulses.listening"), quiet=as_json) as report:
            shape = None if teach is None else taught_shape(teach)
            seen = None
            if region:
                if not recordings:
                    raise UserError(text("cli_add_run.which_video"))
                what = filming.declared(
                    region,
                    form or (),
                    unit or (),
                    every_s=parse_quantity(every, "s"),
                    at_s=parse_quantity(marked_at, "s"),
                    lamp=lamp,
                )
                seen = filming.read_video(recordings[0], what, keyed, report)
                if not seen.readings:
                    raise UserError(text("cli_add_run.not_taught", path=recordings[0]))
            stored, warnings = capture.add_run(
                opened,
                run,
                recordings=recordings or [],
                tables=tables,
                readings=typed + ([] if seen is None else [r.log() for r in seen.readings]),
                channel=channel,
                taught=shape,
                hear=seen is None or seen.watched.video.has_sound,
                flashes=None if seen is None else seen.flashes,
                report=report,
            )
        found = run_summary(opened, stored)
    warnings = (*warnings, *(() if seen is None else seen.warnings))
    listing = RunListing(runs=(found.model_copy(update={"warnings": warnings}),))
    emit(listing, as_json, _show)


def _moment(written: str | None) -> datetime:
    """Return a start as typed (ISO, UTC unless it names a zone), or now."""
    if written is None:
        return datetime.now(UTC)
    try:
        moment = datetime.fromisoformat(written)
    except ValueError:
        raise UserError(text("cli_add_run.which_moment", given=written)) from None
    return moment if moment.tzinfo else moment.replace(tzinfo=UTC)


def _mapping(path: Path, words: list[str], file: Path | None, yes: bool) -> Mapping:
    """Return the mapping of a table: given, or suggested, shown and confirmed."""
    from counterproof.signals.mapping import load_mapping, mapping_from_words
    from counterproof.signals.suggest import suggest_mapping

    base = suggest_mapping(path) if file is None else load_mapping(file)
    made = mapping_from_words(words, base) if words else base
    if file is not None or yes:
        return made
    say(text("cli_add_run.suggested", path=path))
    for entry, value, reason in made.describe():
        say(f"  {entry} = {value}" + (f"  ({reason})" if reason else ""))
    for line in made.preview[:3]:
        say("  | " + " | ".join(line))
    if not typer.confirm(text("cli_add_run.confirm"), err=True):
        raise UserError(text("cli_add_run.not_confirmed", path=path))
    return made


def _show(found: RunListing) -> None:
    from counterproof.quantities.format import format_estimate

    out = console()
    for each in found.runs:
        run = each.run
        rows = [("run", run.id), (text("dossier.length"), f"{run.duration_s:.1f} s")]
        rows += [(s.form.replace("_", " "), s.file) for s in run.signals]
        if each.rate_per_s is not None:
            rows.append((text("cli_pulses.rate"), format_estimate(each.rate_per_s.estimate())))
        out.print(pairs(rows))
        for warning in each.warnings:
            out.print(text("cli.warning", sentence=warning))
