"""How numbers, tables and times are shown in a dossier."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime

from counterproof.quantities.format import format_estimate, format_interval, format_number
from counterproof.records import Measured, Row

Cell = Measured | str | float | int | None


def value(cell: Cell) -> str:
    """Print one value with the digits that its uncertainty allows."""
    if cell is None:
        return "–"
    if isinstance(cell, Measured):
        return format_estimate(cell.estimate())
    if isinstance(cell, str):
        return cell
    if isinstance(cell, int):
        return f"{cell:,}".replace(",", "\u2009")
    return str(int(cell)) if cell == int(cell) and abs(cell) < 1e6 else format_number(cell)


def interval(measured: Measured) -> str:
    """Print the coverage interval of a measured value."""
    e = measured.estimate()
    return format_interval(e.low, e.high, e.coverage, e.unit)


def moment(when: datetime) -> str:
    """Print a time in UTC to the second."""
    return when.strftime("%Y-%m-%d %H:%M:%S UTC")


@dataclass(frozen=True)
class Grid:
    """A table: rows of one set of columns."""

    columns: tuple[str, ...]
    rows: tuple[tuple[str, ...], ...]


def grids(rows: Sequence[Row]) -> list[Grid]:
    """Return rows as tables, those with the same columns together.

    A column that says where another came from (``"…, from"``) goes into that one's cell.
    """
    tables: list[tuple[tuple[str, ...], list[tuple[str, ...]]]] = []
    for row in rows:
        columns = tuple(k for k in row.values if not k.endswith(", from"))
        cells = [row.label, "" if row.instrument == row.label else row.instrument]
        for column in columns:
            shown = value(row.values[column])
            origin = row.values.get(f"{column}, from")
            cells.append(f"{shown} ({origin})" if origin else shown)
        if tables and tables[-1][0] == columns:
            tables[-1][1].append(tuple(cells))
        else:
            tables.append((columns, [tuple(cells)]))
    found = []
    for columns, lines in tables:
        with_instrument = any(line[1] for line in lines)
        head = ("", "counter", *columns) if with_instrument else ("", *columns)
        kept = lines if with_instrument else [(line[0], *line[2:]) for line in lines]
        found.append(Grid(head, tuple(kept)))
    return found
