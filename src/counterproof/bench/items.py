"""Items in the database: every change is a new revision, a deleted item leaves a tombstone."""

from __future__ import annotations

import datetime as dt
import difflib
from collections.abc import Iterator
from dataclasses import dataclass
from typing import Any

from pydantic import BaseModel

from counterproof.bench.codec import Indexed, Item, T, decode, encode, kind_of
from counterproof.bench.database import Database
from counterproof.errors import UserError
from counterproof.texts import text


@dataclass(frozen=True, slots=True)
class Revision:
    """One state of an item.

    Args:
        number: from 1.
        written_utc: when it was written.
        note: why, in the writer's words.
        deleted: whether this is a tombstone.
        body: the item's text as stored.
    """

    number: int
    written_utc: dt.datetime
    note: str
    deleted: bool
    body: str


class Items:
    """Add, read, amend and delete kit items and records.

    Args:
        database: where they lie.
    """

    def __init__(self, database: Database) -> None:
        """Work on ``database``."""
        self._database = database

    def add(self, item: Item, note: str = "") -> str:
        """Add an item and return its id.

        Raises:
            UserError: if there is one of that kind and name, or it has no name.
        """
        indexed = encode(item)
        with self._database.transaction():
            number = self._last(indexed)
            if number is not None and not self._deleted(indexed.kind, indexed.id):
                raise UserError(text("bench.name_taken", kind=indexed.kind, name=indexed.id))
            self._put(indexed, (number or 0) + 1, note)
        return indexed.id

    def amend(self, item: Item, note: str = "") -> int:
        """Store a changed item under its name and return the new revision's number.

        Nothing is written when nothing changed.

        Raises:
            UserError: if there is none of that kind and name.
        """
        indexed = encode(item)
        with self._database.transaction():
            self.require(type(item), indexed.id)
            number = self._last(indexed) or 0
            if self._body(indexed.kind, indexed.id) == indexed.body:
                return number
            self._put(indexed, number + 1, note)
        return number + 1

    def delete(self, cls: type[BaseModel], name: str, note: str = "") -> None:
        """Put a tombstone: the item is no longer listed, its history stays.

        Raises:
            UserError: if there is no such item.
        """
        kind = kind_of(cls)
        with self._database.transaction():
            self.require(cls, name)
            last = self.history(cls, name)[-1]
            self._database.write(
                "INSERT INTO revision VALUES (?, ?, ?, 1, ?, ?, ?)",
                *(kind, name, last.number + 1, _now(), note, last.body),
            )
            self._database.write(
                "UPDATE item SET deleted = 1, revision = ? WHERE kind = ? AND id = ?",
                *(last.number + 1, kind, name),
            )

    def restore(self, cls: type[T], name: str, number: int) -> T:
        """Make an earlier revision the current one again (as a new revision) and return it.

        Raises:
            UserError: if there is no such item or revision.
        """
        found = [r for r in self.history(cls, name) if r.number == number]
        if not found:
            raise UserError(text("bench.no_revision", name=name, number=number))
        item = decode(cls, name, found[0].body)
        indexed = encode(item)
        with self._database.transaction():
            number_now = self._last(indexed) or 0
            self._put(indexed, number_now + 1, text("bench.restored", number=number))
        return item

    def get(self, cls: type[T], name: str) -> T:
        """Return an item by name or id.

        Raises:
            UserError: if there is none; the nearest name is offered.
        """
        self.require(cls, name)
        return decode(cls, name, self._body(kind_of(cls), name))

    def names(self, cls: type[BaseModel], instrument: str | None = None) -> tuple[str, ...]:
        """Return the names of a kind: runs by their start, all else by name."""
        statement = "SELECT id FROM item WHERE kind = ? AND deleted = 0"
        values: list[Any] = [kind_of(cls)]
        if instrument is not None:
            statement += " AND instrument = ?"
            values.append(instrument)
        rows = self._database.rows(statement + " ORDER BY started_utc, id", *values)
        return tuple(row[0] for row in rows)

    def all(self, cls: type[T], instrument: str | None = None) -> tuple[T, ...]:
        """Return all items of a kind, in the order of :meth:`names`."""
        statement = (
            "SELECT id, body FROM item JOIN revision USING (kind, id, revision)"
            " WHERE kind = ? AND item.deleted = 0"
        )
        values: list[Any] = [kind_of(cls)]
        if instrument is not None:
            statement += " AND instrument = ?"
            values.append(instrument)
        rows = self._database.rows(statement + " ORDER BY started_utc, id", *values)
        return tuple(decode(cls, name, body) for name, body in rows)

    def history(self, cls: type[BaseModel], name: str) -> tuple[Revision, ...]:
        """Return all revisions of an item, deleted ones too, the first one first.

        Raises:
            UserError: if there never was such an item.
        """
        rows = self._database.rows(
            "SELECT revision, written_utc, note, deleted, body FROM revision"
            " WHERE kind = ? AND id = ? ORDER BY revision",
            *(kind_of(cls), name),
        )
        if not rows:
            raise UserError(self._missing(cls, name))
        return tuple(
            Revision(number, dt.datetime.fromisoformat(at), note, bool(deleted), body)
            for number, at, note, deleted, body in rows
        )

    def require(self, cls: type[BaseModel], name: str) -> None:
        """Do nothing if the item is there.

        Raises:
            UserError: if it is not; the nearest name is offered.
        """
        kind = kind_of(cls)
        if self._last(Indexed(kind, name, None, None, "")) is None or self._deleted(kind, name):
            raise UserError(self._missing(cls, name))

    def next_id(self, cls: type[BaseModel]) -> str:
        """Return a free id such as ``"run-0007"``; ids of deleted items are not used again."""
        kind = kind_of(cls)
        rows = self._database.rows("SELECT id FROM item WHERE kind = ?", kind)
        taken = {row[0] for row in rows}
        return next(n for n in _numbered(kind, len(taken) + 1) if n not in taken)

    def all_revisions(self) -> list[tuple[Any, ...]]:
        """Return every revision as (kind, id, revision, deleted, written, note, body), sorted."""
        return self._database.rows(
            "SELECT kind, id, revision, deleted, written_utc, note, body FROM revision"
            " ORDER BY kind, id, revision"
        )

    def _put(self, indexed: Indexed, number: int, note: str) -> None:
        if not indexed.id.strip():
            raise UserError(text("bench.no_name", kind=indexed.kind))
        self._database.write(
            "INSERT INTO item VALUES (?, ?, ?, 0, ?, ?) ON CONFLICT (kind, id) DO UPDATE SET"
            " revision = excluded.revision, deleted = 0, instrument = excluded.instrument,"
            " started_utc = excluded.started_utc",
            *(indexed.kind, indexed.id, number, indexed.instrument, indexed.started_utc),
        )
        self._database.write(
            "INSERT INTO revision VALUES (?, ?, ?, 0, ?, ?, ?)",
            *(indexed.kind, indexed.id, number, _now(), note, indexed.body),
        )

    def _last(self, indexed: Indexed) -> int | None:
        rows = self._database.rows(
            "SELECT revision FROM item WHERE kind = ? AND id = ?", indexed.kind, indexed.id
        )
        return int(rows[0][0]) if rows else None

    def _deleted(self, kind: str, name: str) -> bool:
        rows = self._database.rows("SELECT deleted FROM item WHERE kind = ? AND id = ?", kind, name)
        return bool(rows and rows[0][0])

    def _body(self, kind: str, name: str) -> str:
        rows = self._database.rows(
            "SELECT body FROM item JOIN revision USING (kind, id, revision)"
            " WHERE kind = ? AND id = ?",
            *(kind, name),
        )
        return str(rows[0][0])

    def _missing(self, cls: type[BaseModel], name: str) -> str:
        names = self.names(cls)
        near = difflib.get_close_matches(name, names, n=1, cutoff=0.5)
        kind = kind_of(cls)
        if near:
            return text("bench.unknown_near", kind=kind, name=name, nearest=near[0])
        known = ", ".join(names[:8]) or text("bench.none")
        return text("bench.unknown", kind=kind, name=name, known=known)


def _numbered(kind: str, first: int) -> Iterator[str]:
    number = first
    while True:
        yield f"{kind}-{number:04d}"
        number += 1


def _now() -> str:
    return dt.datetime.now(dt.UTC).isoformat()
