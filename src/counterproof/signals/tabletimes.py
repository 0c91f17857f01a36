"""The times of a table: numbers, clock times and calendar dates, with and without a zone.

Calendar times become whole microseconds since 1970 as they are written (:func:`calendar_us`), then
UTC where the cells or the mapping say the zone (:func:`to_utc_us`). The hour that is lived twice
when daylight saving ends is told apart by order: the second time is the one after time ran back.
"""

from __future__ import annotations

from collections.abc import Sequence
from datetime import UTC, datetime, timedelta
from zoneinfo import ZoneInfo, ZoneInfoNotFoundError

import numpy as np
from numpy.typing import NDArray

from counterproof.errors import UserError
from counterproof.texts import text

Micros = NDArray[np.int64]

_EPOCH = datetime(1970, 1, 1, tzinfo=UTC)
_US = timedelta(microseconds=1)


class NoTimeError(Exception):
    """The cell with this index is no time of the given form."""

    def __init__(self, index: int) -> None:
        """Remember which cell."""
        super().__init__(index)
        self.index = index


def calendar_us(cells: Sequence[bytes], form: str) -> tuple[Micros, bool]:
    """Return microseconds since 1970 and whether the cells said their zone.

    Args:
        cells: such as ``2026-03-01 10:00:00.5``, ``01.03.2026 10:00`` or with ``Z`` or ``+02:00``.
        form: ``iso``, ``dmy`` or ``mdy``.

    Raises:
        NoTimeError: with the index of the first cell that cannot be read, or that says its zone
            where others do not.
    """
    cells = [cell.strip().replace(b",", b".") for cell in cells]
    quick = _calendar_at_once(cells, form)
    if quick is not None:
        return quick
    values = np.empty(len(cells), dtype=np.int64)
    aware: bool | None = None
    for index, cell in enumerate(cells):
        try:
            moment = _moment(cell.decode("ascii"), form)
            known = moment.tzinfo is not None
            values[index] = ((moment if known else moment.replace(tzinfo=UTC)) - _EPOCH) // _US
        except (ValueError, OverflowError):
            raise NoTimeError(index) from None
        if aware not in (None, known):
            raise NoTimeError(index)
        aware = known
    return values, bool(aware)


def _calendar_at_once(cells: Sequence[bytes], form: str) -> tuple[Micros, bool] | None:
    if not cells or min(map(len, cells)) < 10:
        return None
    if form != "iso":
        turned = _turn_dates(cells, form)
        if turned is None:
            return None
        column = turned
        aware, offset = False, 0
        if any(cell[10:].translate(None, b"0123456789:. T") for cell in cells):
            return None
    else:
        tail = cells[0][10:]
        aware, offset = False, 0
        if tail.endswith(b"Z"):
            if not all(cell.endswith(b"Z") for cell in cells):
                return None
            cells, aware = [cell[:-1] for cell in cells], True
        elif len(tail) > 6 and tail[-6:-5] in (b"+", b"-") and tail[-3:-2] == b":":
            suffix = tail[-6:]
            if not all(cell.endswith(suffix) for cell in cells):
                return None
            try:
                offset = (int(suffix[1:3]) * 60 + int(suffix[4:6])) * 60_000_000
            except ValueError:
                return None
            offset = -offset if suffix[:1] == b"-" else offset
            cells, aware = [cell[:-6] for cell in cells], True
        if any(cell[10:].translate(None, b"0123456789:. T") for cell in cells):
            return None
        column = np.array(cells)
    try:
        moments = column.astype("datetime64[us]")
    except ValueError:
        return None
    if np.isnat(moments).any():
        return None
    return moments.astype(np.int64) - offset, aware


def _turn_dates(cells: Sequence[bytes], form: str) -> NDArray[np.bytes_] | None:
    """Rewrite dd.mm.yyyy (any mark between) as yyyy-mm-dd, for cells of one length."""
    width = len(cells[0])
    joined = b"".join(cells)
    if len(joined) != width * len(cells) or any(len(cell) != width for cell in cells):
        return None
    codes = np.frombuffer(joined, np.uint8).reshape(-1, width)
    digits = codes[:, [0, 1, 3, 4, 6, 7, 8, 9]]
    if ((digits < 48) | (digits > 57)).any():
        return None
    marks = codes[:, [2, 5]]
    if not np.isin(marks, np.frombuffer(b"./-", np.uint8)).all():
        return None
    turned = codes.copy()
    day, month = ([0, 1], [3, 4]) if form == "dmy" else ([3, 4], [0, 1])
    turned[:, 0:4] = codes[:, 6:10]
    turned[:, [5, 6]] = codes[:, month]
    turned[:, [8, 9]] = codes[:, day]
    turned[:, [4, 7]] = ord("-")
    return np.ascontiguousarray(turned).view(f"S{width}").ravel()


def _moment(cell: str, form: str) -> datetime:
    if form == "iso":
        return datetime.fromisoformat(cell)
    date, _, clock = cell.replace("T", " ", 1).partition(" ")
    parts = [int(part) for part in date.replace("/", ".").replace("-", ".").split(".") if part]
    if len(parts) != 3:
        raise ValueError
    day, month, year = parts if form == "dmy" else (parts[1], parts[0], parts[2])
    year += 2000 if year < 100 else 0
    moment = datetime(year, month, day)  # noqa: DTZ001 - the mapping may say the zone
    return moment + timedelta(seconds=_clock(clock)) if clock.strip() else moment


def clock_s(cells: Sequence[bytes]) -> NDArray[np.float64]:
    """Return seconds since midnight of cells such as ``10:00:00.5``, ``7:05`` or ``1:02:03 pm``.

    Hours may pass 24, as in elapsed times.

    Raises:
        NoTimeError: with the index of the first cell that cannot be read.
    """
    cells = [cell.strip().replace(b",", b".") for cell in cells]
    quick = _clock_at_once(cells)
    if quick is not None:
        return quick
    values = np.empty(len(cells))
    for index, cell in enumerate(cells):
        try:
            values[index] = _clock(cell.decode("ascii"))
        except ValueError:
            raise NoTimeError(index) from None
    return values


def _clock_at_once(cells: Sequence[bytes]) -> NDArray[np.float64] | None:
    width = len(cells[0]) if cells else 0
    joined = b"".join(cells)
    if width < 8 or len(joined) != width * len(cells) or any(len(c) != width for c in cells):
        return None
    codes = np.frombuffer(joined, np.uint8).reshape(-1, width)
    digit_at = [0, 1, 3, 4, 6, 7, *range(9, width)]
    digits = codes[:, digit_at].astype(np.int64) - 48
    marks_right = (codes[:, [2, 5]] == ord(":")).all() and (codes[:, 8:9] == ord(".")).all()
    if not marks_right or ((digits < 0) | (digits > 9)).any() or width > 18:
        return None
    minutes, seconds = digits[:, 2] * 10 + digits[:, 3], digits[:, 4] * 10 + digits[:, 5]
    if (minutes > 59).any() or (seconds > 59).any():
        return None
    whole = (digits[:, 0] * 10 + digits[:, 1]) * 3600 + minutes * 60 + seconds
    decimals = digits[:, 6:]
    fraction = decimals @ 10 ** np.arange(decimals.shape[1])[::-1]
    return np.asarray(whole + fraction / 10.0 ** decimals.shape[1])


def _clock(cell: str) -> float:
    shown = cell.strip().lower()
    half = shown[-2:] if shown.endswith(("am", "pm")) else ""
    parts = shown.removesuffix(half).strip().split(":")
    if len(parts) not in (2, 3) or not all(part[:1].isdigit() and part.isascii() for part in parts):
        raise ValueError
    hours, minutes = int(parts[0]), int(parts[1])
    seconds = float(parts[2]) if len(parts) == 3 else 0.0
    if minutes > 59 or not 0 <= seconds < 60 or (half and not 1 <= hours <= 12):
        raise ValueError
    if half:
        hours = hours % 12 + (12 if half == "pm" else 0)
    return hours * 3600 + minutes * 60 + seconds


def over_midnight(clock: NDArray[np.float64]) -> NDArray[np.float64]:
    """Add a day wherever the clock falls by more than half a day."""
    if not clock.size:
        return clock
    return clock + 86400.0 * np.cumsum(np.diff(clock, prepend=clock[0]) < -43200.0)


def to_utc_us(local: Micros, zone: str) -> Micros:
    """Turn local times into UTC, telling the repeated hour apart by order.

    Raises:
        UserError: if there is no such zone.
    """
    try:
        info = ZoneInfo(zone)
    except (ZoneInfoNotFoundError, ValueError, OSError):
        raise UserError(text("signals.table_zone", zone=zone)) from None
    minutes, where = np.unique(local // 60_000_000, return_inverse=True)
    offsets = np.empty((2, minutes.size), dtype=np.int64)
    for index, minute in enumerate(minutes.tolist()):
        for fold in (0, 1):
            moment = _EPOCH.replace(tzinfo=None) + timedelta(minutes=minute)
            shift = moment.replace(tzinfo=info, fold=fold).utcoffset()
            offsets[fold, index] = (shift or timedelta(0)) // _US
    early, late = offsets[0][where], offsets[1][where]
    twice = early > late  # lived twice: the early reading has the larger offset
    if not twice.any():
        return np.asarray(local - early)
    steps = np.diff(local, prepend=local[:1])
    hourly = local.size > 1 and float(np.median(steps[1:])) >= 1.8e9
    ran_back = (steps < -60_000_000) | ((steps == 0) & hourly & (np.arange(local.size) > 0))
    started = np.flatnonzero(twice & ~np.concatenate(([False], twice[:-1])))
    # inside each stretch of doubtful times, everything after time ran back is the second round
    back = np.cumsum(ran_back)
    stretch = np.searchsorted(started, np.arange(local.size), side="right") - 1
    base: Micros = (back[started] - ran_back[started])[np.maximum(stretch, 0)]
    second = twice & (back > base)
    return np.asarray(local - np.where(second, late, early))
