"""A first guess at what a table's columns mean, with the reason of each guess.

:func:`suggest_mapping` looks at a file's first lines. What it cannot see (a unit that is written
nowhere, the length of a recording) it leaves open: :meth:`Mapping.check` asks for it. The guess is
shown with its preview and confirmed or changed by a person; nothing is read through it unseen.
"""

from __future__ import annotations

import codecs
import re
from dataclasses import dataclass
from itertools import pairwise
from pathlib import Path
from statistics import median
from typing import Any

from counterproof.errors import UserError
from counterproof.signals.mapping import (
    DOSE_RATE_UNITS,
    DOSE_UNITS,
    RATE_UNITS,
    SEPARATORS,
    TIME_UNITS,
    Mapping,
    plain_unit,
)
from counterproof.signals.sniff import read_head
from counterproof.signals.tablelines import refuse_junk
from counterproof.signals.tabletimes import NoTimeError, calendar_us, clock_s
from counterproof.texts import text

PREVIEW_LINES = 8
_SAMPLE_LINES = 200
_NUMBER = re.compile(r"[+-]?\d*[.,]?\d+(?:[eE][+-]?\d+)?")
_DATE = re.compile(r"(\d{1,4})([./-])(\d{1,2})\2(\d{1,4})")
_CLOCK = re.compile(r"\d{1,3}:\d\d(:\d\d([.,]\d+)?)?( ?[ap]m)?", re.IGNORECASE)

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


@dataclass
class _Sheet:
    """The sample, cut into cells."""

    separator: str
    decimal: str
    header: list[str]
    rows: list[list[str]]
    skip: int

    def column(self, index: int) -> list[str]:
        return [row[index] for row in self.rows]

    @property
    def width(self) -> int:
        return len(self.rows[0])


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
    encoding = _encoding(path, why)
    found["encoding"] = encoding
    head = refuse_junk(path, encoding)
    lines = _lines(head, encoding)
    found["comment"] = _comment(lines, why)
    sheet = _cut(lines, found["comment"], why)
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


def _encoding(path: Path, why: dict[str, str]) -> str:
    head = read_head(path)
    marks = {
        codecs.BOM_UTF8: "utf-8",
        codecs.BOM_UTF16_LE: "utf-16",
        codecs.BOM_UTF16_BE: "utf-16",
    }
    for mark, name in marks.items():
        if head.startswith(mark):
            why["encoding"] = text("signals.why_bom", name=name)
            return name
    try:
        codecs.getincrementaldecoder("utf-8")("strict").decode(head)
    except UnicodeDecodeError:
        why["encoding"] = text("signals.why_not_utf8")
        return "cp1252"
    return "utf-8"


def _lines(head: bytes, encoding: str) -> list[str]:
    decoder = codecs.getincrementaldecoder(encoding)("replace")
    shown = decoder.decode(head).lstrip("\ufeff")
    lines = shown.replace("\r\n", "\n").replace("\r", "\n").split("\n")
    whole = lines[:-1] if len(lines) > 1 and len(shown) > 1000 else lines
    return whole[:_SAMPLE_LINES]


def _comment(lines: list[str], why: dict[str, str]) -> str:
    for mark in ("#", "//", "%", "!"):
        if any(line.lstrip().startswith(mark) for line in lines[:20]):
            why["comment"] = text("signals.why_comment", mark=mark)
            return mark
    return "#"


def _split(line: str, separator: str) -> list[str]:
    mark = SEPARATORS[separator]
    cells = line.split() if mark == " " else line.split(mark) if mark else [line]
    return [cell.strip().strip('"') for cell in cells]


def _is_data(cell: str) -> bool:
    return bool(_NUMBER.match(cell) or _CLOCK.fullmatch(cell))


def _cut(lines: list[str], comment: str, why: dict[str, str]) -> _Sheet | None:
    """Choose the separator under which most lines have the same number of data cells."""
    kept = [
        (number, line)
        for number, line in enumerate(lines)
        if line.strip() and not line.lstrip().startswith(comment)
    ]
    best: tuple[float, _Sheet] | None = None
    for separator in ("tab", "semicolon", "comma", "space", "none"):
        cut = [(number, _split(line, separator)) for number, line in kept]
        data = [(number, row) for number, row in cut if row and _is_data(row[0])]
        if not data:
            continue
        width = max({len(row) for _, row in data}, key=[len(row) for _, row in data].count)
        rows = [row for _, row in data if len(row) == width]
        first = data[0][0]
        before = [row for number, row in cut if number < first]
        header = before[-1] if before and len(before[-1]) == width else []
        sheet = _Sheet(separator, "point", header, rows, first if before else 0)
        score = len(rows) / len(kept) + (0.3 if width > 1 else 0.0)
        score += 0.5 * sum(map(_clean, rows[0])) / width
        score -= {"comma": 0.01, "space": 0.1, "none": -0.02}.get(separator, 0.0)
        if best is None or score > best[0]:
            best = (score, sheet)
    if best is None:
        return None
    sheet = best[1]
    _decimal(sheet, why)
    why["separator"] = text("signals.why_separator", count=sheet.width)
    return sheet


def _clean(cell: str) -> bool:
    return bool(_NUMBER.fullmatch(cell) or _CLOCK.fullmatch(cell) or _DATE.match(cell) or not cell)


def _decimal(sheet: _Sheet, why: dict[str, str]) -> None:
    """See a decimal comma, also where a comma seemed to separate two halves of one number."""
    if sheet.separator != "comma":
        if any(re.fullmatch(r"[+-]?\d+,\d+\D*", cell) for row in sheet.rows for cell in row):
            sheet.decimal = "comma"
            why["decimal"] = text("signals.why_decimal_comma")
        return
    if sheet.width != 2 or sheet.header:
        return
    if all(first.isdigit() and second.isdigit() for first, second in sheet.rows):
        digits = {len(second) for _, second in sheet.rows}
        steps = {int(b[0]) - int(a[0]) for a, b in pairwise(sheet.rows)}
        regular = len(steps) == 1 and steps != {0}
        epoch = all(len(first) >= 9 for first, _ in sheet.rows)
        if len(digits) == 1 and digits != {1} and not regular and not epoch:
            sheet.separator, sheet.decimal = "none", "comma"
            sheet.rows = [[",".join(row)] for row in sheet.rows]
            why["decimal"] = text("signals.why_decimal_guess")


def _value(cell: str, decimal: str) -> float | None:
    match = _NUMBER.match(cell.replace(",", ".") if decimal == "comma" else cell)
    if match is None or "," in match.group():
        return None
    value = float(match.group())
    return value if abs(value) < 1e300 else None


def _numbers(sheet: _Sheet, index: int) -> list[float] | None:
    values = [_value(cell, sheet.decimal) for cell in sheet.column(index)]
    known = [value for value in values if value is not None]
    return known if len(known) >= max(1, len(values) // 2) else None


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


def _find_time(sheet: _Sheet, found: dict[str, Any], why: dict[str, str]) -> tuple[int, ...]:
    for index in range(sheet.width):
        cells = sheet.column(index)
        date = _DATE.match(cells[0])
        if date:
            after = sheet.column(index + 1) if index + 1 < sheet.width else []
            split = bool(after) and " " not in cells[0] and all(map(_CLOCK.fullmatch, after))
            columns = (index, index + 1) if split else (index,)
            joined = [f"{a} {b}" for a, b in zip(cells, after, strict=True)] if split else cells
            form, reason = _date_form(joined, date.group(2))
            if _reads(joined, form):
                found["time_format"] = form
                why["time_format"] = reason
                return _timed(columns, found, why, text("signals.why_dates"))
        if all(map(_CLOCK.fullmatch, cells)) and _reads(cells, "clock"):
            found["time_format"] = "clock"
            return _timed((index,), found, why, text("signals.why_clock"))
    named = [i for i, name in enumerate(sheet.header) if _has(name, _TIME_WORDS)]
    for index in [*named, *range(sheet.width)]:
        values = _numbers(sheet, index)
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
    parts = [match.groups() for cell in cells if (match := _DATE.match(cell))]
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
    return max(known, key=len, default="")


def _role_of(label: str, cells: list[str]) -> tuple[str, str, str]:
    """Return (role, unit, what gave it away) from a label or from units in cells."""
    # a number's tail, so that '0.12 µSv/h' shows its unit
    tails = [_NUMBER.sub("", cell, count=1).strip() for cell in cells[:20]]
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
    sheet: _Sheet, times: tuple[int, ...], found: dict[str, Any], why: dict[str, str]
) -> None:
    labels = sheet.header or [""] * sheet.width
    free = [i for i in range(sheet.width) if i not in times and _numbers(sheet, i) is not None]
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
    values = _numbers(sheet, index) or []
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
    sheet: _Sheet, times: tuple[int, ...], found: dict[str, Any], why: dict[str, str]
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


def _typical_step(sheet: _Sheet, times: tuple[int, ...], found: dict[str, Any]) -> float | None:
    form = found.get("time_format", "elapsed")
    if form in ("elapsed", "epoch"):
        scale = TIME_UNITS[found.get("time_unit", "s")]
        seconds = [value * scale for value in _numbers(sheet, times[0]) or []]
    else:
        columns = [sheet.column(column) for column in times]
        cells = [" ".join(parts).encode() for parts in zip(*columns, strict=True)]
        found_us = clock_s(cells) * 1e6 if form == "clock" else calendar_us(cells, form)[0]
        seconds = [float(moment) / 1e6 for moment in found_us]
    steps = [b - a for a, b in pairwise(seconds) if b > a]
    return float(f"{median(steps):.6g}") if steps else None
