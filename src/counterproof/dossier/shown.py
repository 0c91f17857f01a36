"""How numbers, tables and times are shown in a dossier."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime

from counterproof.quantities import Estimate
from counterproof.quantities.format import format_estimate, format_interval, format_number
from counterproof.records import Measured, Row
from counterproof.texts import text

_PRINTED = {"1/s": "s⁻¹", "1/min": "min⁻¹"}
Cell = Measured | str | float | int | None


def value(cell: Cell) -> str:
    """Print one value with the digits that its uncertainty allows."""
    if cell is None:
        return "–"
    if isinstance(cell, Measured):
        return _together(format_estimate(_typeset(cell)))
    if isinstance(cell, str):
        return cell
    if isinstance(cell, int):
        return f"{cell:,}".replace(",", "\u2009")
    return str(int(cell)) if cell == int(cell) and abs(cell) < 1e6 else format_number(cell)


def _together(words: str) -> str:
    """Keep a per cent sign with its number."""
    return words.replace(" %", "\u00a0%")


def _typeset(measured: Measured) -> Estimate:
    """Return the estimate with its unit as one prints it."""
    e = measured.estimate()
    return e.scaled(1.0, _PRINTED.get(e.unit, e.unit))


def interval(measured: Measured) -> str:
    """Print the coverage interval of a measured value."""
    e = _typeset(measured)
    return _together(format_interval(e.low, e.high, e.coverage, e.unit))


def moment(when: datetime) -> str:
    """Print a time in UTC to the second."""
    return when.strftime("%Y-%m-%d %H:%M:%S UTC")


@dataclass(frozen=True)
class Grid:
    """A table: rows of one set of columns."""

    columns: tuple[str, ...]
    rows: tuple[tuple[str, ...], ...]


def grids(rows: Sequence[Row]) -> list[Grid]:
    """Return rows as tables: neighbours that share a column stand in one.

    A column that says where another came from (``"…, from"``) goes into that one's cell.
    """
    groups: list[list[Row]] = []
    for row in rows:
        if groups and set(row.values) & {k for r in groups[-1] for k in r.values}:
            groups[-1].append(row)
        else:
            groups.append([row])
    return [_grid(group) for group in groups]


def _grid(rows: Sequence[Row]) -> Grid:
    columns = dict.fromkeys(k for r in rows for k in r.values if not k.endswith(", from"))
    named = any(r.instrument not in ("", r.label) for r in rows)
    lines = []
    for row in rows:
        cells = [row.label]
        if named:
            cells.append(row.instrument)
        for column in columns:
            shown = value(row.values.get(column))
            origin = row.values.get(f"{column}, from")
            cells.append(f"{shown} ({origin})" if origin else shown)
        lines.append(tuple(cells))
    head = ("", text("dossier.counter")) if named else ("",)
    return Grid((*head, *columns), tuple(lines))


def sentence(words: str) -> str:
    """Return words with a capital at the start, as a sentence has it."""
    return words[:1].upper() + words[1:]


FILTERS = {"value": value, "interval": interval, "moment": moment, "sentence": sentence}
"""What the templates call these."""
