"""``counterproof listen``: the live rate with its uncertainty, from a microphone or serial line."""

from __future__ import annotations

import sys
import time
from contextlib import ExitStack
from pathlib import Path
from typing import TYPE_CHECKING, Annotated, Any

import typer

from counterproof.cli.common import (
    AbsorberOption,
    AngleOption,
    BenchOption,
    ConditionOption,
    DistanceOption,
    JsonOption,
    SourceOption,
    TeachOption,
    YesOption,
    open_bench,
)
from counterproof.cli.output import console, pairs, say
from counterproof.errors import UserError
from counterproof.texts import text

if TYPE_CHECKING:
    from collections.abc import Callable

    from counterproof.records import Position, Run
    from counterproof.signals.mapping import Mapping
    from counterproof.workshop.listening import Now

REFRESH_S = 0.25


def listen(
    microphone: Annotated[
        str | None, typer.Option("--microphone", help=text("cli_listen.microphone"))
    ] = None,
    serial: Annotated[str | None, typer.Option("--serial", help=text("cli_listen.serial"))] = None,
    baud: Annotated[int, typer.Option("--baud", min=50, help=text("cli_listen.baud"))] = 9600,
    column: Annotated[
        list[str] | None, typer.Option("--column", help=text("cli_add_run.column"))
    ] = None,
    yes: YesOption = False,
    instrument: Annotated[
        str | None, typer.Option("--instrument", "-i", help=text("cli_listen.instrument"))
    ] = None,
    source: SourceOption = None,
    distance: DistanceOption = None,
    angle: AngleOption = None,
    absorber: AbsorberOption = None,
    condition: ConditionOption = None,
    lasting: Annotated[str | None, typer.Option("--for", help=text("cli_listen.lasting"))] = None,
    teach: TeachOption = None,
    devices: Annotated[bool, typer.Option("--devices", help=text("cli_listen.devices"))] = False,
    folder: BenchOption = None,
    as_json: JsonOption = False,
) -> None:
    """Listen to a counter and show its rate as it grows surer; Ctrl-C ends it."""
    if devices:
        _show_devices()
        return
    from counterproof.quantities import parse_quantity
    from counterproof.workshop.detect import pulses_report, taught_shape
    from counterproof.workshop.listening import Listener
    from counterproof.workshop.surroundings import typed_conditions, typed_position

    seconds = None if lasting is None else parse_quantity(lasting, "s")
    taught = None if teach is None else taught_shape(teach)
    with ExitStack() as stack:
        live = None
        if instrument is not None:
            bench = stack.enter_context(open_bench(folder, write=True))
            position = typed_position(distance=distance, angle=angle, absorbers=absorber or ())
            conditions = typed_conditions(condition or ())
            run = _run(instrument, source or [], position, conditions)
            live = bench.start_live(run)
        mapping = None
        if serial is not None:
            mapping = _mapping(serial, baud, column or [], yes)
        opened = stack.enter_context(_source(microphone, serial, baud, mapping))
        listener = Listener(opened, live, taught=taught, mapping=mapping)
        train = listener.run(_teller(stack, quiet=as_json), seconds)
        stored = listener.finish()
    report = pulses_report(Path(serial or microphone or "microphone"), train)
    if as_json:
        typer.echo(report.to_json())
        return
    from counterproof.cli.pulses import show

    show(report)
    if stored is not None:
        console().print(pairs([("run", stored.id)]))


def _run(
    instrument: str, sources: list[str], position: Position, conditions: dict[str, float | str]
) -> Run:
    from counterproof.records import Run
    from counterproof.workshop.capture import now

    return Run(
        id="",
        instrument=instrument,
        position=position,
        conditions=conditions,
        sources=tuple(sources),
        started_utc=now(),
        duration_s=0.0,
    )


def _source(microphone: str | None, serial: str | None, baud: int, mapping: Mapping | None) -> Any:
    if serial is not None and microphone is not None:
        raise UserError(text("cli_listen.one_source"))
    if serial is not None:
        from counterproof.signals.serialline import SerialSource

        assert mapping is not None
        return SerialSource(serial, mapping, baud=baud)
    from counterproof.signals.microphone import MicrophoneSource

    device = int(microphone) if microphone and microphone.isdigit() else microphone
    return MicrophoneSource(device or None)


def _mapping(port: str, baud: int, words: list[str], yes: bool) -> Mapping:
    """Return what the line's bytes mean: said, or suggested from a sample and confirmed."""
    from counterproof.signals.mapping import mapping_from_words
    from counterproof.signals.serialline import sample_line, suggest_line_mapping

    if words:
        return mapping_from_words(words)
    say(text("cli_listen.sampling", port=port))
    made = suggest_line_mapping(sample_line(port, baud))
    for entry, value, reason in made.describe():
        say(f"  {entry} = {value}" + (f"  ({reason})" if reason else ""))
    if not yes and not typer.confirm(text("cli_add_run.confirm"), err=True):
        raise UserError(text("cli_add_run.not_confirmed", path=port))
    return made


def _teller(stack: ExitStack, quiet: bool) -> Callable[[Now], bool]:
    """Return what shows how it stands a few times a second, and ends it on Ctrl-C."""
    import signal

    stop = False

    def end(*_: object) -> None:
        nonlocal stop
        stop = True

    before = signal.signal(signal.SIGINT, end)
    stack.callback(signal.signal, signal.SIGINT, before)
    if quiet or not sys.stderr.isatty():
        return lambda _: not stop
    last = 0.0

    def tell(now: Now) -> bool:
        nonlocal last
        if time.monotonic() - last >= REFRESH_S or stop:
            last = time.monotonic()
            sys.stderr.write("\r\x1b[2K" + line(now))
            sys.stderr.flush()
            if stop:
                sys.stderr.write("\n")
        return not stop

    return tell


def line(now: Now) -> str:
    """Return how it stands as one line."""
    from counterproof.quantities.format import format_estimate

    parts = [f"{now.seconds:7.1f} s"]
    if now.learning:
        parts.append(text("cli_listen.learning"))
    if now.reading is not None:
        parts.append(text("cli_listen.reading", value=f"{now.reading:g}"))
    if now.rate_per_s is not None:
        parts.append(text("cli_listen.count", count=now.count))
        parts.append(format_estimate(now.rate_per_s.scaled(60.0, "min⁻¹")))
    if now.more_s:
        parts.append(text("cli_listen.more", seconds=f"{now.more_s:.0f}"))
    return "  ".join(parts)


def _show_devices() -> None:
    from counterproof.signals.serialline import serial_ports

    rows = [(text("cli_listen.port"), f"{port}  {about}") for port, about in serial_ports()]
    try:
        from counterproof.signals.microphone import microphones

        rows += [
            (text("cli_listen.input"), f"{number}  {name}") for number, name, _, _ in microphones()
        ]
    except UserError as error:
        say(error.message)
    console().print(pairs(rows))
