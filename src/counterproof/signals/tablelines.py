"""A text table as a stream of cells: big pieces cut at once, odd lines one by one.

:func:`pieces` yields :class:`Piece` objects with the cells of the wanted columns and their line
numbers. A piece whose lines all have the same number of cells, no quotes, comments or blanks is cut
by a few operations over megabytes; any other falls back to line by line, where a fault can be named
with its line. :func:`numbers` turns cells into numbers in the same two ways.
"""

from __future__ import annotations

import codecs
import csv
import re
import warnings
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from pathlib import Path

import numpy as np
from numpy.typing import NDArray

from counterproof.errors import UserError
from counterproof.progress import Report, silent, step
from counterproof.signals.mapping import DECIMALS, SEPARATORS, Mapping, plain_unit
from counterproof.signals.sniff import read_head, recognise_head
from counterproof.texts import text

_PIECE_BYTES = 4 << 20
_LONGEST_LINE = 1 << 20
_MISSING = frozenset({"", "-", "--", "---", "----", "?", "n/a", "na", "nan", "null", "none"})
_NUMBER = re.compile(r"([+-]?(?:\d[\d.,]*|[.,]\d+)(?:[eE][+-]?\d+)?)\s*(.*)")
_NUMBER_BYTES = b"0123456789+-.eE "


@dataclass(frozen=True)
class Piece:
    """Cells of the wanted columns of some lines.

    Args:
        cells: column (counted from 1) to its cells, still as bytes.
        lines: line numbers in the file, counted from 1.
        cut_off: the file's last line is incomplete and was left out.
        table: all columns as numbers, shape (lines, columns), where nothing else is in them; then
            ``cells`` is empty.
    """

    cells: dict[int, Sequence[bytes]]
    lines: NDArray[np.int64] | range
    cut_off: bool = False
    table: NDArray[np.float64] | None = None

    def take(self, rows: Sequence[int]) -> Piece:
        """Return only these lines, counted from 0 within the piece."""
        cells: dict[int, Sequence[bytes]] = {
            column: [found[row] for row in rows] for column, found in self.cells.items()
        }
        table = None if self.table is None else self.table[list(rows)]
        return Piece(cells, np.asarray(self.lines)[list(rows)], self.cut_off, table)


def refuse_junk(path: Path, encoding: str) -> bytes:
    """Return the file's first bytes unless it is a recording or binary.

    Raises:
        UserError: if it is no text, or cannot be read at all.
    """
    head = read_head(path)
    kind = recognise_head(head)
    if kind is not None:
        raise UserError(text("signals.table_is_recording", path=path, kind=kind.name))
    sample = head.decode(encoding, "replace") if "16" in encoding or "32" in encoding else None
    controls = [b for b in (sample.encode() if sample else head) if b < 32 and b not in b"\t\n\r\f"]
    if controls or (sample and sample.count("\ufffd") > len(sample) // 20):
        raise UserError(text("signals.table_binary", path=path))
    return head


def _raw(path: Path, encoding: str, report: Report) -> Iterator[bytes]:
    """Yield the bytes in an encoding that keeps ASCII, without a byte-order mark."""
    wide = "16" in encoding or "32" in encoding
    decoder = codecs.getincrementaldecoder(encoding)("strict") if wide else None
    total, done, first = path.stat().st_size, 0, True
    try:
        with path.open("rb") as stream:
            while block := stream.read(_PIECE_BYTES):
                done += len(block)
                step(report, done, total)
                if decoder is not None:
                    block = decoder.decode(block).encode()
                if first:
                    block = block.removeprefix(codecs.BOM_UTF8)
                    first = False
                yield block
            if decoder is not None:
                yield decoder.decode(b"", final=True).encode()
    except UnicodeError:
        raise UserError(text("signals.table_encoding", path=path, encoding=encoding)) from None
    except OSError as fault:
        raise UserError(text("signals.read_failed", path=path, reason=fault)) from None


def _whole_lines(path: Path, encoding: str, report: Report) -> Iterator[tuple[bytes, bool]]:
    """Yield bytes that end with a line end, and whether that line end was in the file."""
    rest = b""
    old_mac: bool | None = None
    for block in _raw(path, encoding, report):
        if old_mac is None:
            old_mac = b"\n" not in block and b"\r" in block
        rest += block.replace(b"\r", b"\n") if old_mac else block
        cut = rest.rfind(b"\n") + 1
        if cut:
            yield rest[:cut].replace(b"\r\n", b"\n"), True
            rest = rest[cut:]
        if len(rest) > _LONGEST_LINE + _PIECE_BYTES:
            raise UserError(text("signals.table_no_lines", path=path))
    if rest.strip():
        yield rest.rstrip(b"\r") + b"\n", False


def pieces(path: Path, mapping: Mapping, report: Report = silent) -> Iterator[Piece]:
    """Yield the table's cells piece by piece, in bounded memory.

    Raises:
        UserError: if a line lacks a wanted column (naming the line), or the file is no text.
        Cancelled: if ``report`` answers ``False``.
    """
    encoding = cell_encoding(mapping)
    line, to_skip = 1, mapping.skip_lines
    for body, ended in _whole_lines(path, mapping.encoding, report):
        while to_skip and body:
            body = body[body.find(b"\n") + 1 :]
            to_skip -= 1
            line += 1
        count = body.count(b"\n")
        if count:
            piece = _cut_at_once(body, count, mapping, line) if ended else None
            yield piece or _cut_lines(path, body, mapping, line, ended, encoding)
        line += count


def _cut_at_once(body: bytes, count: int, mapping: Mapping, line: int) -> Piece | None:
    """Cut a regular piece; ``None`` if any of its lines is irregular."""
    if b'"' in body or (mapping.comment and mapping.comment.encode() in body):
        return None
    cells: dict[int, Sequence[bytes]]
    separator = SEPARATORS[mapping.separator].encode()
    codes = np.frombuffer(body, np.uint8)
    ends = np.flatnonzero(codes == 10)
    if np.diff(ends, prepend=-1).min() < 2:
        return None  # a blank line
    if not separator:
        cells = {column: body[:-1].split(b"\n") for column in mapping.columns}
        return Piece(cells, range(line, line + count)) if set(cells) <= {1} else None
    if separator == b" ":
        gaps = (codes == 32) | ((codes >= 9) & (codes <= 13))  # what bytes.split() takes as blank
        starts = np.flatnonzero(~gaps & np.concatenate(([True], gaps[:-1])))
        per_line = np.diff(np.searchsorted(starts, ends), prepend=0)
    else:
        marks = np.flatnonzero(codes == separator[0])
        per_line = np.diff(np.searchsorted(marks, ends), prepend=0) + 1
    width = int(per_line[0])
    if (per_line != width).any() or width < max(mapping.columns):
        return None
    lines = range(line, line + count)
    if mapping.time_format in ("elapsed", "epoch") and not mapping.unit_column:
        table = _table_at_once(body, separator, mapping.decimal, (count, width))
        if table is not None:
            return Piece({}, lines, table=table)
    if separator == b" ":
        flat = body.split()
    else:
        flat = body[:-1].replace(b"\n", separator).split(separator)
    cells = {column: flat[column - 1 :: width] for column in mapping.columns}
    return Piece(cells, lines)


def _table_at_once(
    body: bytes, separator: bytes, decimal: str, shape: tuple[int, int]
) -> NDArray[np.float64] | None:
    """Read a piece of nothing but numbers; ``None`` if it holds anything else."""
    blank = b" \t" if separator == b" " else separator
    if separator != b" ":
        edge = separator + b"\n"
        empty = body.startswith(separator) or separator * 2 in body or b"\n" + separator in body
        if b" " in body or empty or edge in body:
            return None  # an empty cell must not be filled from its neighbour
    if decimal == "comma" and b"." in body:
        return None
    marks = bytes.maketrans(blank + b"\n", b" " * (len(blank) + 1))
    plain = body.translate(marks)
    return _parse(plain.replace(b",", b".") if decimal == "comma" else plain, shape)


def _parse(plain: bytes, shape: tuple[int, ...]) -> NDArray[np.float64] | None:
    """Read numbers between blanks; ``None`` unless there are as many as ``shape`` holds."""
    if plain.translate(None, _NUMBER_BYTES):
        return None
    with warnings.catch_warnings():
        warnings.simplefilter("error", DeprecationWarning)  # how NumPy says: not all was read
        try:
            values = np.fromstring(plain, dtype=np.float64, sep=" ")
        except (DeprecationWarning, ValueError):
            return None
    if values.size != np.prod(shape) or not np.isfinite(values).all():
        return None
    return values.reshape(shape)


def _cut_lines(
    path: Path, body: bytes, mapping: Mapping, line: int, ended: bool, encoding: str
) -> Piece:
    separator = SEPARATORS[mapping.separator]
    comment = mapping.comment.encode()
    wanted = mapping.columns
    cells: dict[int, list[bytes]] = {column: [] for column in wanted}
    lines: list[int] = []
    raw_lines = body[:-1].split(b"\n")
    cut_off = False
    for number, raw in enumerate(raw_lines, start=line):
        if not raw.strip() or (comment and raw.lstrip().startswith(comment)):
            continue
        row = _cut_line(path, raw, separator, number, encoding)
        if len(row) < max(wanted):
            if not ended and number == line + len(raw_lines) - 1:
                cut_off = True  # as when a logger was switched off while writing
                continue
            raise UserError(
                text(
                    "signals.table_too_few_cells",
                    path=path, line=number, found=len(row), wanted=max(wanted),
                )
            )  # fmt: skip
        for column in wanted:
            cells[column].append(row[column - 1])
        lines.append(number)
    return Piece(dict(cells), np.array(lines, dtype=np.int64), cut_off)


def _cut_line(path: Path, raw: bytes, separator: str, line: int, encoding: str) -> list[bytes]:
    if not separator:
        return [raw.strip().strip(b'"')]
    if b'"' in raw:
        try:
            decoded = raw.decode(encoding)
            options = {"delimiter": separator, "skipinitialspace": True, "strict": True}
            return [cell.encode() for cell in next(csv.reader([decoded], **options))]  # type: ignore[arg-type]
        except (UnicodeDecodeError, csv.Error):
            raise UserError(text("signals.table_quotes", path=path, line=line)) from None
    return raw.split() if separator == " " else raw.split(separator.encode())


def numbers(
    path: Path, piece: Piece, column: int, mapping: Mapping, unit: str = ""
) -> NDArray[np.float64]:
    """Turn a column's cells into numbers; NaN where the value is missing.

    Args:
        path: named in errors.
        piece: the cells.
        column: which column.
        mapping: says the decimal sign and encoding.
        unit: what may stand behind the number in a cell; anything else is refused.

    Raises:
        UserError: naming the first line whose cell is no number or has another unit.
    """
    if piece.table is not None:
        return piece.table[:, column - 1].copy()
    cells = piece.cells[column]
    quick = _numbers_at_once(cells, mapping.decimal)
    if quick is not None:
        return quick
    values = np.empty(len(cells))
    encoding = cell_encoding(mapping)
    for index, cell in enumerate(cells):
        shown = cell.decode(encoding, "replace").strip()
        value, behind = parse_number(shown, mapping.decimal)
        place = {
            "path": path,
            "line": int(piece.lines[index]),
            "column": column,
            "cell": shown[:40],
        }
        if value is None:
            other = "comma" if mapping.decimal == "point" else "point"
            raise UserError(text("signals.table_no_number", other=other, **place))
        if behind and plain_unit(behind) != unit:
            key = "table_mixed_units" if unit else "table_unit_in_cell"
            raise UserError(text(f"signals.{key}", unit=unit, found=behind[:20], **place))
        values[index] = value
    return values


def cell_encoding(mapping: Mapping) -> str:
    """Return the encoding of the cells: UTF-16 and UTF-32 were turned into UTF-8 on the way."""
    wide = "16" in mapping.encoding or "32" in mapping.encoding
    return "utf-8" if wide else mapping.encoding


def _numbers_at_once(cells: Sequence[bytes], decimal: str) -> NDArray[np.float64] | None:
    joined = b" ".join(cells)
    if joined.count(b" ") != len(cells) - 1:
        cells = [cell.strip() for cell in cells]
        joined = b" ".join(cells)
    if decimal == "comma":
        if b"." in joined:
            return None
        joined = joined.replace(b",", b".")
    if joined.count(b" ") != len(cells) - 1 or b"" in cells:
        return None
    return _parse(joined, (len(cells),))


def parse_number(cell: str, decimal: str) -> tuple[float | None, str]:
    """Return a cell's number and what stands behind it.

    The number is NaN where the value is missing, ``None`` where the cell is no number.
    """
    if cell.lower() in _MISSING:
        return float("nan"), ""
    match = _NUMBER.fullmatch(cell.replace("\u2212", "-"))
    if match is None:
        return None, ""
    digits, behind = match.groups()
    mark = DECIMALS[decimal]
    if behind[:1] in tuple("+-./:,0123456789") or ("," if mark == "." else ".") in digits:
        return None, ""
    try:
        value = float(digits.replace(mark, "."))
    except ValueError:
        return None, ""
    return (value, behind) if abs(value) != float("inf") else (None, "")
