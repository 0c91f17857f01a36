"""A first guess at what a table's columns mean, with the reason of each guess.

:func:`suggest_mapping` looks at a file's first lines. What it cannot see (a unit that is written
nowhere, the length of a recording) it leaves open: :meth:`Mapping.check` asks for it. The guess is
shown with its preview and confirmed or changed by a person; nothing is read through it unseen.
"""

from __future__ import annotations

import re
from itertools import pairwise
from pathlib import Path
from statistics import median
from typing import Any

from counterproof.errors import UserError
from counterproof.signals.mapping import (
    DOSE_RATE_UNITS,
    DOSE_UNITS,
    RATE_UNITS,
    TIME_UNITS,
    Mapping,
    plain_unit,
)
from counterproof.signals.tablelines import refuse_junk
from counterproof.signals.tablesheet import (
    CLOCK,
    DATE,
    NUMBER,
    SAMPLE_LINES,
    Sheet,
    comment_of,
    cut_sheet,
    encoding_of,
    numbers_in,
    sample_lines,
)
from counterproof.signals.tabletimes import NoTimeError, calendar_us, clock_s
from counterproof.texts import text

PREVIEW_LINES = 8
_TIME_WORDS = ("time", "elapsed", "timestamp", "seconds", "epoch", "onset")
_VALUE_WORDS = {
    "spacing": ("spacing", "pulse interval", "between", "gap"),
    "dose_rate": ("dose rate", "doserate"),
    "rate": ("cps", "cpm", "rate"),
    "total": ("total", "accumulated", "cumulative"),
    "dose": ("dose",),
    "counts": ("count", "counts", "events", "pulses"),
}
_LENGTH_WORDS = ("duration", "length", "interval", "live")


def suggest_mapping(path: str | Path) -> Mapping:
    """Guess a mapping from the file's first lines, to be shown and confirmed.

    Returns:
        The guess, with ``reasons`` and ``preview``; it may be incomplete.

    Raises:
        UserError: if the file is missing, empty, no text, or has no line of numbers.
    """
    path = Path(path)
    found: dict[str, Any] = {}
    why: dict[str, str] = {}
    encoding = encoding_of(path, why)
    found["encoding"] = encoding
    lines = sample_lines(refuse_junk(path, encoding), encoding)
    found["comment"] = comment_of(lines, why)
    sheet = cut_sheet(lines, found["comment"], why)
    if sheet is None:
        raise UserError(text("signals.table_nothing_to_suggest", path=path))
    found |= {"separator": sheet.separator, "decimal": sheet.decimal, "skip_lines": sheet.skip}
    if sheet.skip:
        why["skip_lines"] = text("signals.why_skip", count=sheet.skip)
    times = _find_time(sheet, found, why)
    _find_value(sheet, times, found, why)
    _find_length(sheet, times, found, why)
    preview = tuple(tuple(row) for row in sheet.rows[:PREVIEW_LINES])
    return Mapping(**found, reasons=why, preview=preview)


def suggest_from_lines(lines: list[str]) -> Mapping | None:
    """Guess what the lines of a serial line mean; their time is that of arrival.

    Returns:
        The guess, perhaps incomplete; ``None`` if no line begins with a number.
    """
    found: dict[str, Any] = {}
    why: dict[str, str] = {}
    found["comment"] = comment_of(lines, why)
    sheet = cut_sheet(lines[:SAMPLE_LINES], found["comment"], why)
    if sheet is None:
        return None
    found |= {"separator": sheet.separator, "decimal": sheet.decimal}
    times = _find_time(sheet, {}, {}) if sheet.width > 1 else ()
    _find_value(sheet, times, found, why)
    if found["role"] in ("spacing", "pulse"):
        found |= {"role": "dose_rate", "unit": "", "value_column": 1}
        why = {**why, "role": text("signals.why_broken"), "unit": ""}
    preview = tuple(tuple(row) for row in sheet.rows[:PREVIEW_LINES])
    return Mapping(**found, reasons=why, preview=preview)


def _reads(cells: list[str], form: str) -> bool:
    packed = [cell.encode("utf-8") for cell in cells]
    try:
        if form == "clock":
            clock_s(packed)
        else:
            calendar_us(packed, form)
    except NoTimeError:
        return False
    return True


def _find_time(sheet: Sheet, found: dict[str, Any], why: dict[str, str]) -> tuple[int, ...]:
    for index in range(sheet.width):
        cells = sheet.column(index)
        date = DATE.match(cells[0])
        if date:
            after = sheet.column(index + 1) if index + 1 < sheet.width else []
            split = bool(after) and " " not in cells[0] and all(map(CLOCK.fullmatch, after))
            columns = (index, index + 1) if split else (index,)
            joined = [f"{a} {b}" for a, b in zip(cells, after, strict=True)] if split else cells
            form, reason = _date_form(joined, date.group(2))
            if _reads(joined, form):
                found["time_format"] = form
                why["time_format"] = reason
                return _timed(columns, found, why, text("signals.why_dates"))
        if all(map(CLOCK.fullmatch, cells)) and _reads(cells, "clock"):
            found["time_format"] = "clock"
            return _timed((index,), found, why, text("signals.why_clock"))
    named = [i for i, name in enumerate(sheet.header) if _has(name, _TIME_WORDS)]
    for index in [*named, *range(sheet.width)]:
        values = numbers_in(sheet, index)
        if values is None or len(values) != len(sheet.rows):
            continue
        rising = all(b > a for a, b in pairwise(values))
        rising = rising and (len(values) > 2 or _epoch_unit(values) is not None)
        label = sheet.header[index] if sheet.header else ""
        if _has(label, (*_LENGTH_WORDS, *(w for ws in _VALUE_WORDS.values() for w in ws))):
            continue
        if index in named or (rising and index == 0):
            _numeric_time(values, label, found, why)
            key = "signals.why_named" if index in named else "signals.why_rising"
            return _timed((index,), found, why, text(key, name=label))
    return ()


def _timed(
    columns: tuple[int, ...], found: dict[str, Any], why: dict[str, str], reason: str
) -> tuple[int, ...]:
    found["time_columns"] = tuple(column + 1 for column in columns)
    why["time_columns"] = reason
    return columns


def _has(name: str, words: tuple[str, ...]) -> bool:
    low = name.lower()
    return any(re.search(rf"(?<![a-z]){re.escape(word)}(?![a-z])", low) for word in words)


def _date_form(cells: list[str], mark: str) -> tuple[str, str]:
    parts = [match.groups() for cell in cells if (match := DATE.match(cell))]
    if len(parts[0][0]) == 4:
        return "iso", text("signals.why_year_first")
    if any(int(first) > 12 for first, *_ in parts):
        return "dmy", text("signals.why_day_above_12", place="first")
    if any(int(third) > 12 for _, _, third, _ in parts):
        return "mdy", text("signals.why_day_above_12", place="second")
    if mark == ".":
        return "dmy", text("signals.why_dots")
    return "dmy", text("signals.why_dates_unclear")


def _epoch_unit(values: list[float]) -> str | None:
    epochs = {"s": (1e8, 1e10), "ms": (1e11, 1e13), "us": (1e14, 1e16)}
    for unit, (low, high) in epochs.items():
        if all(low < value < high for value in values):
            return unit
    return None


def _numeric_time(
    values: list[float], label: str, found: dict[str, Any], why: dict[str, str]
) -> None:
    epoch = _epoch_unit(values)
    if epoch is not None:
        found |= {"time_format": "epoch", "time_unit": epoch}
        why["time_format"] = text("signals.why_epoch")
        return
    for unit in ("ms", "us", "µs", "min", "h", "s"):
        if _has(label, (unit,)) or f"[{unit}]" in label or f"({unit})" in label:
            found["time_unit"] = plain_unit(unit)
            why["time_unit"] = text("signals.why_named", name=label)
            return
    why["time_unit"] = text("signals.why_seconds")


def _unit_in(shown: str, units: tuple[str, ...]) -> str:
    """Return the longest unit that stands as a word of its own in ``shown``."""
    words = re.split(r"[\s()\[\],;:_]+", shown.strip("\"' "))
    known = [plain for word in words if (plain := plain_unit(word)) in units]
    # column names of programs write µSv/h as usv_h
    name = "_" + shown.strip("\"' ").lower()
    known += [u for u in units if "/" in u and name.endswith("_" + _as_name(u))]
    return max(known, key=len, default="")


def _as_name(unit: str) -> str:
    return unit.lower().replace("µ", "u").replace("/", "_")


def _role_of(label: str, cells: list[str]) -> tuple[str, str, str]:
    """Return (role, unit, what gave it away) from a label or from units in cells."""
    # a number's tail, so that '0.12 µSv/h' shows its unit
    tails = [NUMBER.sub("", cell, count=1).strip() for cell in cells[:20]]
    for shown in (label, *tails):
        for role, units in (
            ("dose_rate", DOSE_RATE_UNITS),
            ("dose", DOSE_UNITS),
            ("rate", RATE_UNITS),
        ):
            unit = _unit_in(shown, units)
            if unit:
                return role, unit, shown
    for role, words in _VALUE_WORDS.items():
        if _has(label, words):
            return role, "", label
    return "", "", ""


def _find_value(
    sheet: Sheet, times: tuple[int, ...], found: dict[str, Any], why: dict[str, str]
) -> None:
    labels = sheet.header or [""] * sheet.width
    free = [i for i in range(sheet.width) if i not in times and numbers_in(sheet, i) is not None]
    for index in free:
        role, unit, shown = _role_of(labels[index], sheet.column(index))
        if role and not (role == "counts" and _has(labels[index], _LENGTH_WORDS)):
            found |= {"role": role, "value_column": index + 1, "unit": unit}
            why["role"] = why["value_column"] = text("signals.why_named", name=shown)
            if unit:
                why["unit"] = text("signals.why_named", name=shown)
            elif role == "spacing":
                found["unit"] = "s"
                why["unit"] = text("signals.why_seconds")
            return
    free = [i for i in free if not _has(labels[i], _LENGTH_WORDS)]
    for index in range(1, sheet.width):
        role, unit, shown = _role_of("", sheet.column(index))
        if unit and plain_unit(shown) == unit and index - 1 in free:
            found |= {"role": role, "unit": unit, "value_column": index, "unit_column": index + 1}
            why["role"] = why["unit"] = why["unit_column"] = text("signals.why_named", name=shown)
            why["value_column"] = text("signals.why_before_unit")
            return
    if not free:
        found["role"] = "pulse" if times else "spacing"
        why["role"] = text("signals.why_only_times")
        return
    index = free[0]
    values = numbers_in(sheet, index) or []
    found["value_column"] = index + 1
    why["value_column"] = text("signals.why_first_free")
    if not times and sheet.width == 1 and any(value % 1 for value in values):
        found |= {"role": "spacing", "unit": "s"}
        why["role"] = text("signals.why_spacing")
    elif all(value % 1 == 0 for value in values):
        found["role"] = "counts"
        why["role"] = text("signals.why_whole")
    else:
        found["role"] = "dose_rate"
        why["role"] = text("signals.why_broken")


def _find_length(
    sheet: Sheet, times: tuple[int, ...], found: dict[str, Any], why: dict[str, str]
) -> None:
    if found["role"] != "counts":
        return
    for index, label in enumerate(sheet.header):
        free = index not in times and index + 1 != found.get("value_column")
        if free and _has(label, _LENGTH_WORDS):
            found["duration_column"] = index + 1
            why["duration_column"] = text("signals.why_named", name=label)
            return
    if not times:
        return
    step = _typical_step(sheet, times, found)
    if step:
        found["interval_s"] = step
        why["interval_s"] = text("signals.why_step", step=step)


def _typical_step(sheet: Sheet, times: tuple[int, ...], found: dict[str, Any]) -> float | None:
    form = found.get("time_format", "elapsed")
    if form in ("elapsed", "epoch"):
        scale = TIME_UNITS[found.get("time_unit", "s")]
        seconds = [value * scale for value in numbers_in(sheet, times[0]) or []]
    else:
        columns = [sheet.column(column) for column in times]
        cells = [" ".join(parts).encode() for parts in zip(*columns, strict=True)]
        found_us = clock_s(cells) * 1e6 if form == "clock" else calendar_us(cells, form)[0]
        seconds = [float(moment) / 1e6 for moment in found_us]
    steps = [b - a for a, b in pairwise(seconds) if b > a]
    return float(f"{median(steps):.6g}") if steps else None
