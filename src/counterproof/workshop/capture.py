"""Put signals on a bench as runs: recordings, tables, typed readings."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from datetime import UTC, datetime
from pathlib import Path

import numpy as np

from counterproof.bench import Bench
from counterproof.errors import UserError
from counterproof.kit import Instrument
from counterproof.progress import Report, silent
from counterproof.quantities.units import split_quantity
from counterproof.records import Run
from counterproof.signals.clicks import ClickShape
from counterproof.signals.mapping import Mapping
from counterproof.signals.tables import read_table
from counterproof.signals.trains import CountLog, PulseTrain, ReadingLog
from counterproof.texts import text
from counterproof.workshop.detect import train_of_file

Signals = PulseTrain | CountLog | ReadingLog


def add_run(
    bench: Bench,
    run: Run,
    *,
    recordings: Sequence[Path] = (),
    tables: Sequence[tuple[Path, Mapping]] = (),
    readings: Sequence[ReadingLog] = (),
    channel: int | None = None,
    taught: ClickShape | None = None,
    hear: bool = True,
    flashes: PulseTrain | None = None,
    report: Report = silent,
) -> tuple[Run, tuple[str, ...]]:
    """Detect, read and store one run; return it with the warnings to show.

    Args:
        bench: opened for writing.
        run: who, where and when; an empty id gets a new one.
        recordings: sound or video; the first is searched for clicks, all are kept.
        tables: tables with their confirmed mappings.
        readings: reading logs typed by hand.
        channel: which channel of a recording to hear.
        taught: click shape learned near a source.
        hear: look for clicks in the recording.
        flashes: of a pulse lamp in a video; stored as its pulses where no clicks are.
        report: progress of the detection.

    Raises:
        UserError: if a file cannot be read, there is nothing to store, or the bench refuses.
        Cancelled: if ``report`` says so; nothing is stored then.
    """
    signals: list[Signals] = []
    warnings: list[str] = []
    if recordings and hear:
        train = train_of_file(recordings[0], channel=channel, taught=taught, report=report)
        warnings += train.warnings
        # silence is no count of zero: a recording without clicks is kept, but counts nothing
        if train.count or not train.warnings:
            signals.append(train)
    if flashes is not None and flashes.count and not signals:
        signals.append(flashes)
    for path, mapping in tables:
        found = read_table(path, mapping)
        signals.append(_with_quantum(found, bench, run) if isinstance(found, ReadingLog) else found)
    signals += [_with_quantum(log, bench, run) for log in readings]
    if not signals and not recordings:
        raise UserError(text("workshop.nothing_to_store"))
    return bench.add_run(run, signals, recordings), tuple(warnings)


def _with_quantum(log: ReadingLog, bench: Bench, run: Run) -> ReadingLog:
    """Give a reading log the display's step as the instrument's description states it."""
    if log.quantum is not None:
        return log
    like = (log.field, log.quantity, log.unit)
    for display in bench.get(Instrument, run.instrument).display:
        if (display.field, display.quantity, display.unit) == like and display.quantum:
            return replace(log, quantum=display.quantum)
    return log


_QUANTITIES = {"/": "dose_rate", "cpm": "count_rate", "cps": "count_rate", "counts": "counts"}


def typed_readings(written: Sequence[str], seconds: float, field: str) -> ReadingLog:
    """Return readings typed by hand, such as ``"0.12 µSv/h"``, as a log.

    Momentary readings are taken as spread evenly over the run; an average as read at its end; an
    accumulated register as read at start and end.

    Args:
        written: numbers with their unit; later ones may leave it out.
        seconds: length of the run.
        field: ``"momentary"``, ``"average"`` or ``"accumulated"``.

    Raises:
        UserError: if one cannot be read, units differ, or a register was not read twice.
    """
    values, unit = [], ""
    for each in written:
        value, own = split_quantity(each)
        if own and unit and own != unit:
            raise UserError(text("workshop.units_differ", first=unit, second=own))
        unit = unit or own
        values.append(value)
    if not unit:
        raise UserError(text("workshop.no_unit", given=written[0]))
    if field == "accumulated" and len(values) != 2:
        raise UserError(text("workshop.register_twice", count=len(values)))
    if field == "accumulated":
        times = np.array([0.0, seconds])
        quantity = "counts" if unit == "counts" else "dose"
    else:
        count = len(values)
        times = np.array([seconds]) if field == "average" else np.arange(1, count + 1) / count
        times = times if field == "average" else times * seconds
        values = values[-1:] if field == "average" else values
        quantity = next((q for mark, q in _QUANTITIES.items() if mark in unit), "dose_rate")
    return ReadingLog(times, np.array(values), quantity, unit, field)


def now() -> datetime:
    """Return the time of day in UTC."""
    return datetime.now(UTC)
