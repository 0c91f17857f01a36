"""The first lines of a table, cut into cells by whichever separator fits them best."""

from __future__ import annotations

import codecs
import re
from dataclasses import dataclass
from itertools import pairwise
from pathlib import Path

from counterproof.signals.mapping import SEPARATORS
from counterproof.signals.sniff import read_head
from counterproof.texts import text

SAMPLE_LINES = 200
NUMBER = re.compile(r"[+-]?\d*[.,]?\d+(?:[eE][+-]?\d+)?")
DATE = re.compile(r"(\d{1,4})([./-])(\d{1,2})\2(\d{1,4})")
CLOCK = re.compile(r"\d{1,3}:\d\d(:\d\d([.,]\d+)?)?( ?[ap]m)?", re.IGNORECASE)


@dataclass
class Sheet:
    """The sample, cut into cells."""

    separator: str
    decimal: str
    header: list[str]
    rows: list[list[str]]
    skip: int

    def column(self, index: int) -> list[str]:
        """Return the cells of a column, counted from 0."""
        return [row[index] for row in self.rows]

    @property
    def width(self) -> int:
        """Number of columns."""
        return len(self.rows[0])


def encoding_of(path: Path, why: dict[str, str]) -> str:
    """Guess the encoding from a byte-order mark or from what is no UTF-8."""
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


def sample_lines(head: bytes, encoding: str) -> list[str]:
    """Return the first whole lines."""
    decoder = codecs.getincrementaldecoder(encoding)("replace")
    shown = decoder.decode(head).lstrip("\ufeff")
    lines = shown.replace("\r\n", "\n").replace("\r", "\n").split("\n")
    whole = lines[:-1] if len(lines) > 1 and len(shown) > 1000 else lines
    return whole[:SAMPLE_LINES]


def comment_of(lines: list[str], why: dict[str, str]) -> str:
    """Guess what comments begin with."""
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
    return bool(NUMBER.match(cell) or CLOCK.fullmatch(cell))


def cut_sheet(lines: list[str], comment: str, why: dict[str, str]) -> Sheet | None:
    """Choose the separator under which most lines have the same number of data cells."""
    kept = [
        (number, line)
        for number, line in enumerate(lines)
        if line.strip() and not line.lstrip().startswith(comment)
    ]
    best: tuple[float, Sheet] | None = None
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
        sheet = Sheet(separator, "point", header, rows, first if before else 0)
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
    return bool(NUMBER.fullmatch(cell) or CLOCK.fullmatch(cell) or DATE.match(cell) or not cell)


def _decimal(sheet: Sheet, why: dict[str, str]) -> None:
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
    match = NUMBER.match(cell.replace(",", ".") if decimal == "comma" else cell)
    if match is None or "," in match.group():
        return None
    value = float(match.group())
    return value if abs(value) < 1e300 else None


def numbers_in(sheet: Sheet, index: int) -> list[float] | None:
    """Return the numbers of a column; ``None`` if fewer than half of its cells begin with one."""
    values = [_value(cell, sheet.decimal) for cell in sheet.column(index)]
    known = [value for value in values if value is not None]
    return known if len(known) >= max(1, len(values) // 2) else None
