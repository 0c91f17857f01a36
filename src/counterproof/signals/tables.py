"""Tables into pulse trains, count logs and reading logs, through a confirmed mapping.

:func:`read_table` streams: ten million lines take seconds and hardly more memory than the result.
A line that cannot be right is refused by its number, never repaired in silence. What every reader
of a result must know is in the result's ``warnings``.
"""

from __future__ import annotations

from dataclasses import dataclass, field
from datetime import UTC, datetime, timedelta
from pathlib import Path

import numpy as np
from numpy.typing import NDArray

from counterproof.errors import UserError
from counterproof.progress import Report, silent
from counterproof.signals.mapping import QUANTITIES, TIME_UNITS, Mapping, plain_unit
from counterproof.signals.tablelines import Piece, cell_encoding, numbers, pieces, refuse_junk
from counterproof.signals.tabletimes import (
    NoTimeError,
    calendar_us,
    clock_s,
    over_midnight,
    to_utc_us,
)
from counterproof.signals.trains import CountLog, PulseTrain, ReadingLog
from counterproof.texts import text

Floats = NDArray[np.float64]

_CALENDAR = ("iso", "dmy", "mdy")


@dataclass
class _Columns:
    """Everything read so far, one array per piece."""

    times: list[NDArray[np.float64] | NDArray[np.int64]] = field(default_factory=list)
    values: list[Floats] = field(default_factory=list)
    durations: list[Floats] = field(default_factory=list)
    lines: list[NDArray[np.int64] | range] = field(default_factory=list)
    aware: bool | None = None
    skipped: int = 0
    cut_off: bool = False

    def line(self, index: int) -> int:
        """Return the line number of the row with this index."""
        for lines in self.lines:
            if index < len(lines):
                return int(lines[index])
            index -= len(lines)
        raise IndexError(index)

    @property
    def count(self) -> int:
        return sum(len(lines) for lines in self.lines)


def read_table(
    path: str | Path, mapping: Mapping, report: Report = silent
) -> PulseTrain | CountLog | ReadingLog:
    """Read a table as its mapping says.

    Times come out in seconds: elapsed times as they stand, all others from the first line on
    (:func:`read_start` tells when that was).

    Args:
        path: the table.
        mapping: what its columns mean, confirmed.
        report: asked between pieces, with bytes done and in all.

    Raises:
        UserError: if the mapping is incomplete; if the file is missing, empty, no text or has no
            data; or naming the line, for a cell that is no number or time, another unit, a missing
            value, a negative or broken count, a repeated interval, or time that runs back.
        Cancelled: if ``report`` answers ``False``.
    """
    path = Path(path)
    mapping.check()
    refuse_junk(path, mapping.encoding)
    columns = _Columns()
    for piece in pieces(path, mapping, report):
        _add(path, piece, mapping, columns)
    if not columns.count:
        raise UserError(text("signals.table_no_data", path=path))
    warnings = []
    if columns.skipped:
        warnings.append(text("signals.table_skipped", path=path, count=columns.skipped))
    if columns.cut_off:
        warnings.append(text("signals.table_cut_off", path=path))
    times = _seconds(path, mapping, columns, warnings)
    values = np.concatenate(columns.values) if columns.values else np.empty(0)
    if mapping.role in ("pulse", "spacing"):
        return _pulses(path, mapping, columns, times, values, warnings)
    if mapping.role == "counts":
        return _counts(path, mapping, columns, times, values, warnings)
    return _readings(path, mapping, columns, times, values, warnings)


def read_start(path: str | Path, mapping: Mapping) -> datetime | None:
    """Return when the first line of data was written, if its time is a date or an epoch.

    With a zone (UTC) where cells, mapping or format say it, else without one.

    Raises:
        UserError: as :func:`read_table`.
    """
    path = Path(path)
    if not mapping.time_columns or mapping.time_format in ("elapsed", "clock"):
        return None
    refuse_junk(path, mapping.encoding)
    columns = _Columns()
    for piece in pieces(path, mapping):
        if not len(piece.lines):
            continue
        _add_times(path, piece.take([0]), mapping, columns)
        break
    if not columns.times:
        return None
    if mapping.time_format == "epoch":
        seconds = float(columns.times[0][0])
        return datetime.fromtimestamp(0, UTC) + timedelta(seconds=seconds)
    micros = columns.times[0].astype(np.int64)
    if not columns.aware and mapping.zone:
        micros = to_utc_us(micros, mapping.zone)
    moment = datetime.fromtimestamp(0, UTC) + timedelta(microseconds=int(micros[0]))
    return moment if columns.aware or mapping.zone else moment.replace(tzinfo=None)


def _add(path: Path, piece: Piece, mapping: Mapping, columns: _Columns) -> None:
    columns.cut_off |= piece.cut_off
    if not len(piece.lines):
        return
    if mapping.unit_column:
        _same_unit(path, piece, mapping)
    if mapping.value_column:
        values = numbers(path, piece, mapping.value_column, mapping, mapping.unit)
        missing = np.isnan(values)
        if missing.any():
            if mapping.missing == "refuse":
                at = int(np.flatnonzero(missing)[0])
                raise _at(path, "table_missing", int(piece.lines[at]), column=mapping.value_column)
            columns.skipped += int(missing.sum())
            values = values[~missing]
            piece = piece.take(np.flatnonzero(~missing).tolist())
            if not values.size:
                return
        columns.values.append(values)
    if mapping.time_columns:
        _add_times(path, piece, mapping, columns)
    if mapping.duration_column:
        lengths = numbers(path, piece, mapping.duration_column, mapping, mapping.duration_unit)
        lengths = lengths * TIME_UNITS[mapping.duration_unit]
        if not (lengths > 0).all():
            at = int(np.flatnonzero(~(lengths > 0))[0])
            raise _at(path, "table_duration", int(piece.lines[at]))
        columns.durations.append(lengths)
    columns.lines.append(piece.lines)


def _same_unit(path: Path, piece: Piece, mapping: Mapping) -> None:
    cells = piece.cells[mapping.unit_column]
    encoding = cell_encoding(mapping)
    for found in set(cells):
        shown = found.decode(encoding, "replace").strip()
        if plain_unit(shown) != mapping.unit:
            line = int(piece.lines[cells.index(found)])
            raise _at(path, "table_unit_changes", line, unit=mapping.unit, found=shown[:20])


def _add_times(path: Path, piece: Piece, mapping: Mapping, columns: _Columns) -> None:
    form = mapping.time_format
    first, *second = mapping.time_columns
    if form in ("elapsed", "epoch"):
        found = numbers(path, piece, first, mapping, mapping.time_unit)
        if np.isnan(found).any():
            at = int(np.flatnonzero(np.isnan(found))[0])
            raise _at(path, "table_missing", int(piece.lines[at]), column=first)
        columns.times.append(found * TIME_UNITS[mapping.time_unit])
        return
    cells = piece.cells[first]
    if second:
        cells = [
            a.strip() + b" " + b.strip() for a, b in zip(cells, piece.cells[second[0]], strict=True)
        ]
    try:
        if form == "clock":
            columns.times.append(clock_s(cells))
            return
        micros, aware = calendar_us(cells, form)
        if columns.aware not in (None, aware):
            raise NoTimeError(0)
    except NoTimeError as fault:
        shown = cells[fault.index].decode("utf-8", "replace")[:40]
        line = int(piece.lines[fault.index])
        raise _at(path, "table_no_time", line, cell=shown, form=form) from None
    columns.aware = aware
    columns.times.append(micros)


def _at(path: Path, key: str, line: int, **more: object) -> UserError:
    return UserError(text(f"signals.{key}", path=path, line=line, **more))


def _seconds(path: Path, mapping: Mapping, columns: _Columns, warnings: list[str]) -> Floats:
    """Join the times, set the origin, and hold their order."""
    if not columns.times:
        return np.empty(0)
    joined = np.concatenate(columns.times)
    local = False
    times: Floats
    if mapping.time_format in _CALENDAR:
        local = not columns.aware
        if local and mapping.zone:
            joined, local = to_utc_us(joined.astype(np.int64), mapping.zone), False
        times = np.asarray((joined - joined[0]) / 1e6, dtype=np.float64)
    elif mapping.time_format == "clock":
        local = not mapping.zone
        times = over_midnight(joined.astype(np.float64))
        times = times - times[0]
    else:
        times = joined.astype(np.float64)
        if mapping.time_format == "epoch":
            times = times - times[0]
        elif times.min() < 0:
            raise _at(path, "table_negative_time", columns.line(int(np.argmin(times))))
    steps = np.diff(times)
    back = np.flatnonzero(steps < 0)
    if back.size:
        line = columns.line(int(back[0]) + 1)
        step = float(-steps[back[0]])
        usual = float(np.median(steps))
        if local and abs(step - 3600 + usual) < max(60.0, 2 * abs(usual)):
            raise _at(path, "table_time_back_dst", line)
        raise _at(path, "table_time_back", line, step=step)
    if local and steps.size > 2:
        usual = float(np.median(steps))
        leaps = np.flatnonzero(np.abs(steps - usual - 3600) < max(1.0, 0.1 * usual))
        if leaps.size and usual < 600:
            line = columns.line(int(leaps[0]) + 1)
            warnings.append(text("signals.table_time_leap_dst", path=path, line=line))
    return times


def _repeats(path: Path, times: Floats, warnings: list[str], columns: _Columns) -> None:
    same = np.flatnonzero(np.diff(times) == 0)
    if same.size:
        line = columns.line(int(same[0]) + 1)
        warnings.append(text("signals.table_repeats", path=path, count=same.size, line=line))


def _pulses(
    path: Path,
    mapping: Mapping,
    columns: _Columns,
    times: Floats,
    values: Floats,
    warnings: list[str],
) -> PulseTrain:
    if mapping.role == "spacing":
        if values.min() < 0:
            raise _at(path, "table_negative_spacing", columns.line(int(np.argmin(values))))
        times = np.cumsum(values * TIME_UNITS[mapping.unit])
    else:
        _repeats(path, times, warnings, columns)
    length = mapping.length_s
    if length is None:
        length = float(times[-1])
        warnings.append(text("signals.table_no_length", path=path))
    elif length < times[-1]:
        line = columns.line(int(np.searchsorted(times, length, side="right")))
        raise _at(path, "table_after_end", line, length=length)
    return PulseTrain(times, length, warnings=tuple(warnings))


def _counts(
    path: Path,
    mapping: Mapping,
    columns: _Columns,
    times: Floats,
    values: Floats,
    warnings: list[str],
) -> CountLog:
    if values.min() < 0:
        raise _at(path, "table_negative_count", columns.line(int(np.argmin(values))))
    broken = np.flatnonzero((values != np.rint(values)) | (values > 2.0**53))
    if broken.size:
        at = int(broken[0])
        raise _at(path, "table_broken_count", columns.line(at), value=values[at])
    if columns.durations:
        durations = np.concatenate(columns.durations)
    else:
        durations = np.full(values.size, mapping.interval_s or 0.0)
    if times.size:
        same = np.flatnonzero(np.diff(times) == 0)
        if same.size:
            raise _at(path, "table_same_interval", columns.line(int(same[0]) + 1))
        if times.size > 1 and np.median(np.diff(times)) < 0.9 * np.median(durations):
            raise UserError(
                text(
                    "signals.table_overlap",
                    path=path, step=float(np.median(np.diff(times))), length=float(durations[0]),
                )
            )  # fmt: skip
        starts = times - (durations if mapping.stamp == "end" else 0.0)
        if mapping.time_format != "elapsed":
            starts = starts - starts[0]
        starts = np.maximum.accumulate(starts)
    else:
        starts = np.concatenate(([0.0], np.cumsum(durations)[:-1]))
    return CountLog(starts, durations, values.astype(np.int64), tuple(warnings))


def _readings(
    path: Path,
    mapping: Mapping,
    columns: _Columns,
    times: Floats,
    values: Floats,
    warnings: list[str],
) -> ReadingLog:
    if values.min() < 0:
        raise _at(path, "table_negative_reading", columns.line(int(np.argmin(values))))
    _repeats(path, times, warnings, columns)
    accumulated = mapping.role in ("dose", "total")
    if accumulated:
        falls = np.flatnonzero(np.diff(values) < 0)
        if falls.size:
            line = columns.line(int(falls[0]) + 1)
            warnings.append(text("signals.table_register_falls", path=path, line=line))
    return ReadingLog(
        times,
        values,
        quantity=QUANTITIES[mapping.role],
        unit=mapping.unit,
        field="accumulated" if accumulated else mapping.field,
        quantum=mapping.quantum,
        warnings=tuple(warnings),
    )
