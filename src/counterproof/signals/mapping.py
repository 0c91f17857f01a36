"""What the columns of a table mean: always said, never assumed.

A :class:`Mapping` says how a table's lines are cut into cells and what each cell is. It is written
by hand, given as words on a command line (:func:`mapping_from_words`), kept as TOML
(:func:`save_mapping`, :func:`load_mapping`), or suggested from the file
(:func:`counterproof.signals.suggest.suggest_mapping`) and then confirmed by a person.

=============  ===========================================================  ===================
role           a line says                                                  read as
=============  ===========================================================  ===================
``pulse``      one pulse happened (its time is in the time column)          ``PulseTrain``
``byte``       (serial lines only) every byte is a pulse                    ``PulseTrain``
``spacing``    one pulse happened so long after the one before              ``PulseTrain``
``counts``     so many counts fell into an interval                         ``CountLog``
``rate``       the display showed this count rate                           ``ReadingLog``
``dose_rate``  the display showed this dose rate                            ``ReadingLog``
``dose``       the display showed this accumulated dose                     ``ReadingLog``
``total``      the display showed this running total of counts              ``ReadingLog``
=============  ===========================================================  ===================
"""

from __future__ import annotations

import dataclasses
import math
import tomllib
from collections.abc import Iterable
from dataclasses import dataclass, fields, replace
from pathlib import Path
from typing import Any

import tomli_w

from counterproof.errors import UserError
from counterproof.safefile import atomic_write
from counterproof.texts import text

ROLES = ("pulse", "byte", "spacing", "counts", "rate", "dose_rate", "dose", "total")
SEPARATORS = {"comma": ",", "semicolon": ";", "tab": "\t", "space": " ", "none": ""}
DECIMALS = {"point": ".", "comma": ","}
TIME_FORMATS = ("elapsed", "epoch", "clock", "iso", "dmy", "mdy")
TIME_UNITS = {"us": 1e-6, "ms": 1e-3, "s": 1.0, "min": 60.0, "h": 3600.0}
RATE_UNITS = ("cps", "cpm", "1/s", "1/min")
DOSE_UNITS = tuple(p + u for u in ("Sv", "Gy", "R", "rem", "rad") for p in ("n", "µ", "m", "", "k"))
DOSE_RATE_UNITS = tuple(f"{unit}/{per}" for unit in DOSE_UNITS for per in ("h", "min", "s"))

QUANTITIES = {"rate": "count_rate", "dose_rate": "dose_rate", "dose": "dose", "total": "counts"}
"""What a reading log calls what a role displays."""

_CHOICES: dict[str, tuple[str, ...]] = {
    "role": ROLES,
    "separator": tuple(SEPARATORS),
    "decimal": tuple(DECIMALS),
    "time_format": TIME_FORMATS,
    "time_unit": tuple(TIME_UNITS),
    "duration_unit": tuple(TIME_UNITS),
    "stamp": ("start", "end"),
    "field": ("momentary", "average", "accumulated"),
    "missing": ("refuse", "skip"),
}
_UNITS: dict[str, tuple[str, ...]] = {
    "pulse": (),
    "byte": (),
    "spacing": tuple(TIME_UNITS),
    "counts": (),
    "rate": RATE_UNITS,
    "dose_rate": DOSE_RATE_UNITS,
    "dose": DOSE_UNITS,
    "total": (),
}


@dataclass(frozen=True)
class Mapping:
    """What each column of a table means. Columns are counted from 1; 0 means *none*.

    Args:
        role: what a line says; see the head of this module.
        value_column: column of the value; 0 for ``pulse``.
        unit: unit of the value; for ``spacing`` a unit of time. Never guessed when absent.
        time_columns: the column of the time, or two (date, time of day); empty for none.
        time_format: ``elapsed`` or ``epoch`` (a number in ``time_unit``), ``clock`` (h:min:s),
            ``iso`` (2026-03-01 10:00:00), ``dmy`` or ``mdy`` (day and month in that order).
        time_unit: unit of a numeric time.
        zone: IANA zone of times that carry none, such as ``"Europe/Vienna"``; empty if unknown.
        stamp: whether the time marks an interval's ``start`` or its ``end`` (counts only).
        interval_s: length of every counting interval in seconds; ``None`` if a column gives it.
        duration_column: column of the interval's length.
        duration_unit: its unit.
        length_s: length of the whole recording in seconds, for pulses; ``None`` if unknown.
        field: what the display's number is: ``momentary``, ``average`` or ``accumulated``.
        quantum: smallest step of the display, in ``unit``.
        unit_column: column that repeats the unit on every line; it must not change.
        separator: ``comma``, ``semicolon``, ``tab``, ``space`` or ``none``.
        decimal: ``point`` or ``comma``.
        encoding: text encoding.
        skip_lines: lines before the first line of data.
        comment: lines that begin with this are passed over; empty for none.
        missing: what to do with a line whose value is missing: ``refuse`` or ``skip``.
        reasons: why each entry was suggested (not part of what is saved).
        preview: the first lines, cut into cells as the mapping says (not part of what is saved).

    Raises:
        UserError: if entries are unknown or contradict each other.
    """

    role: str
    value_column: int = 0
    unit: str = ""
    time_columns: tuple[int, ...] = ()
    time_format: str = "elapsed"
    time_unit: str = "s"
    zone: str = ""
    stamp: str = "start"
    interval_s: float | None = None
    duration_column: int = 0
    duration_unit: str = "s"
    length_s: float | None = None
    field: str = "momentary"
    quantum: float | None = None
    unit_column: int = 0
    separator: str = "comma"
    decimal: str = "point"
    encoding: str = "utf-8"
    skip_lines: int = 0
    comment: str = "#"
    missing: str = "refuse"
    reasons: dict[str, str] = dataclasses.field(default_factory=dict, compare=False)
    preview: tuple[tuple[str, ...], ...] = dataclasses.field(default=(), compare=False)

    def __post_init__(self) -> None:
        """Refuse what cannot be; whether it is complete is asked by :meth:`check`."""
        object.__setattr__(self, "unit", plain_unit(self.unit))
        for name, allowed in _CHOICES.items():
            if getattr(self, name) not in allowed:
                raise _refuse("map_choice", name, getattr(self, name), allowed=", ".join(allowed))
        for name in ("value_column", "duration_column", "unit_column", "skip_lines"):
            if not 0 <= getattr(self, name) < 1_000_000:
                raise _refuse("map_column", name, getattr(self, name))
        if len(self.time_columns) > 2 or any(not 0 < c < 1_000_000 for c in self.time_columns):
            raise _refuse("map_column", "time_columns", self.time_columns)
        for name in ("interval_s", "length_s", "quantum"):
            value = getattr(self, name)
            if value is not None and not (math.isfinite(value) and value > 0):
                raise _refuse("map_positive", name, value)
        if self.decimal == "comma" and self.separator == "comma":
            raise UserError(text("signals.map_two_commas"))
        try:
            "".encode(self.encoding)
        except LookupError:
            raise _refuse("map_encoding", "encoding", self.encoding) from None
        units = _UNITS[self.role]
        if self.unit and units and self.unit not in units:
            raise _refuse("map_unit", "unit", self.unit, role=self.role, allowed=_some(units))

    def check(self, *, arrival: bool = False) -> None:
        """Ask for what is still open before a table or a line can be read.

        Args:
            arrival: times are those of arrival, as on a serial line; else they are in the table.

        Raises:
            UserError: naming the entry that is missing or does not belong.
        """
        if self.role == "byte" and not arrival:
            raise UserError(text("signals.map_only_serial", role=self.role))
        if self.role == "spacing" and arrival:
            raise UserError(text("signals.map_only_table", role=self.role))
        if self.role not in ("pulse", "byte") and not self.value_column:
            raise UserError(text("signals.map_no_value", role=self.role))
        if self.role == "pulse" and not self.time_columns and not arrival:
            raise UserError(text("signals.map_no_time", role=self.role))
        if _UNITS[self.role] and not self.unit:
            allowed = _some(_UNITS[self.role])
            raise UserError(text("signals.map_no_unit", role=self.role, allowed=allowed))
        timed = self.interval_s is not None or (self.duration_column and not arrival)
        if self.role == "counts" and not timed:
            raise UserError(text("signals.map_no_interval"))
        displayed = self.role in ("rate", "dose_rate", "dose", "total")
        if displayed and not self.time_columns and not arrival:
            raise UserError(text("signals.map_no_time", role=self.role))

    @property
    def columns(self) -> tuple[int, ...]:
        """All columns that are read."""
        found = {*self.time_columns, self.value_column, self.duration_column, self.unit_column}
        return tuple(sorted(found - {0}))

    def describe(self) -> list[tuple[str, str, str]]:
        """Return (entry, value, reason) for each entry that is set, to be shown and confirmed."""
        return [
            (name, str(value), self.reasons.get(name, ""))
            for name, value in self.as_table().items()
        ]

    def as_table(self) -> dict[str, Any]:
        """Return the entries that differ from the defaults, ready for TOML."""
        table: dict[str, Any] = {"role": self.role}
        for entry in fields(self):
            value = getattr(self, entry.name)
            if entry.name in ("role", "reasons", "preview") or value is None:
                continue
            if value != entry.default or entry.name in ("separator", "decimal"):
                table[entry.name] = list(value) if isinstance(value, tuple) else value
        return table


_USUAL = ("µSv/h", "mSv/h", "µGy/h", "mR/h", "µSv", "mSv", "µGy", "mR")


def _some(units: tuple[str, ...]) -> str:
    """Name the units, the usual ones where there are many."""
    return ", ".join(u for u in units if u in _USUAL or len(units) < 8)


def _refuse(key: str, name: str, value: object, **more: object) -> UserError:
    return UserError(text(f"signals.{key}", name=name, value=value, **more))


def plain_unit(unit: str) -> str:
    """Return a unit in one spelling: no blanks, ``µ`` for its look-alikes and for ``u``."""
    unit = "".join(unit.split()).replace("\u03bc", "µ")
    for base in ("Sv", "Gy", "R", "rem", "rad"):
        if unit == f"u{base}" or unit.startswith(f"u{base}/"):
            return "µ" + unit[1:]
    if unit in ("µs", "us"):
        return "us"
    return {"CPM": "cpm", "CPS": "cps", "hr": "h", "/s": "1/s", "/min": "1/min"}.get(
        unit, unit.removesuffix("r") if unit.endswith("/hr") else unit
    )


def _from_table(table: dict[str, Any], origin: str) -> Mapping:
    known = {entry.name: entry for entry in fields(Mapping)}
    clean: dict[str, Any] = {}
    for name, value in table.items():
        if name not in known or name in ("reasons", "preview"):
            raise UserError(text("signals.map_unknown", name=name, origin=origin))
        clean[name] = _typed(name, value, origin)
    if "role" not in clean:
        raise UserError(text("signals.map_no_role", origin=origin, allowed=", ".join(ROLES)))
    return Mapping(**clean)


_WHOLE = frozenset({"value_column", "duration_column", "unit_column", "skip_lines"})
_REAL = frozenset({"interval_s", "length_s", "quantum"})


def _typed(name: str, value: Any, origin: str) -> Any:
    try:
        if name == "time_columns":
            parts = (
                value if isinstance(value, list | tuple) else str(value).replace("+", " ").split()
            )
            return tuple(int(part) for part in parts)
        if name in _WHOLE:
            if int(value) != float(value) or isinstance(value, bool):
                raise ValueError
            return int(value)
        if name in _REAL:
            return float(value)
        if not isinstance(value, str):
            raise TypeError
    except (ValueError, TypeError, OverflowError):
        raise UserError(text("signals.map_value", name=name, value=value, origin=origin)) from None
    return value


def mapping_from_words(words: Iterable[str], base: Mapping | None = None) -> Mapping:
    """Make a mapping from ``name=value`` words, as on a command line.

    Args:
        words: such as ``["role=counts", "value_column=2", "interval_s=60"]``; two time columns are
            written ``time_columns=1+2``.
        base: a suggestion whose other entries are kept.

    Raises:
        UserError: on unknown names or impossible values.
    """
    table: dict[str, Any] = {} if base is None else base.as_table()
    origin = "the command line"
    for word in words:
        name, equals, value = word.partition("=")
        if not equals:
            raise UserError(text("signals.map_word", word=word))
        table[name.strip()] = value.strip()
    made = _from_table(table, origin)
    return made if base is None else replace(made, reasons=base.reasons, preview=base.preview)


def load_mapping(path: str | Path) -> Mapping:
    """Read a mapping from a TOML file.

    Raises:
        UserError: if the file is missing, no TOML, or has unknown names or impossible values.
    """
    path = Path(path)
    try:
        table = tomllib.loads(path.read_text(encoding="utf-8"))
    except FileNotFoundError:
        raise UserError(text("signals.not_found", path=path)) from None
    except PermissionError:
        raise UserError(text("signals.not_readable", path=path)) from None
    except (OSError, UnicodeDecodeError, tomllib.TOMLDecodeError) as fault:
        raise UserError(text("signals.map_not_toml", path=path, reason=fault)) from None
    return _from_table(table, str(path))


def save_mapping(path: str | Path, mapping: Mapping) -> None:
    """Write a mapping as TOML, atomically.

    Raises:
        UserError: if the place cannot be written.
    """
    with atomic_write(path) as stream:
        stream.write(tomli_w.dumps(mapping.as_table()).encode())
