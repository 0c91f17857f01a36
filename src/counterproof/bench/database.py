"""The one connection to a bench's database."""

from __future__ import annotations

import sqlite3
import threading
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import Any

from counterproof.bench.faults import plainly
from counterproof.bench.schema import MIGRATIONS, migrate
from counterproof.errors import UserError
from counterproof.texts import text

NAME = "bench.sqlite"


class Database:
    """A connection in WAL mode that syncs at every commit, shared by the process's threads.

    Args:
        folder: the bench's folder.
        writable: read only otherwise; a reader never changes anything, not even the version.

    Raises:
        UserError: if it cannot be opened, is damaged, or comes from a newer version.
    """

    def __init__(self, folder: Path, writable: bool) -> None:
        """Open the connection and, for a writer, bring the shape up to date."""
        self.folder = folder
        self.path = folder / NAME
        self.writable = writable
        self._guard = threading.RLock()
        self._depth = 0
        with plainly(self.path):
            self._connection = self._connect()
            try:
                if writable:
                    migrate(self._connection, folder)
                else:
                    self._same_version()
            except BaseException:
                self._connection.close()
                raise

    def _connect(self) -> sqlite3.Connection:
        if self.writable:
            connection = sqlite3.connect(
                self.path, isolation_level=None, check_same_thread=False, timeout=5.0
            )
            connection.execute("PRAGMA journal_mode = WAL")
            connection.execute("PRAGMA synchronous = FULL")
            connection.execute("PRAGMA foreign_keys = ON")
            return connection
        address = f"{self.path.resolve().as_uri()}?mode=ro"
        connection = sqlite3.connect(
            address, uri=True, isolation_level=None, check_same_thread=False
        )
        try:
            connection.execute("PRAGMA user_version").fetchone()
        except sqlite3.OperationalError:
            # A folder that cannot be written has no room for the log's index; without a log
            # there is nothing to miss either.
            connection.close()
            if self.path.with_name(NAME + "-wal").exists():
                raise
            connection = sqlite3.connect(
                address + "&immutable=1", uri=True, isolation_level=None, check_same_thread=False
            )
        return connection

    def _same_version(self) -> None:
        (version,) = self._connection.execute("PRAGMA user_version").fetchone()
        known = len(MIGRATIONS)
        if version > known:
            raise UserError(text("bench.newer", path=self.folder, found=version, known=known))
        if version < known:
            raise UserError(text("bench.older", path=self.folder))

    @property
    def in_transaction(self) -> bool:
        """Whether a transaction is open."""
        return self._depth > 0

    @contextmanager
    def transaction(self) -> Iterator[None]:
        """All of what is written inside, or nothing; an inner transaction joins the outer one.

        Raises:
            UserError: if the bench was opened for reading, or the disk refuses.
        """
        if not self.writable:
            raise UserError(text("bench.read_only", path=self.folder))
        with self._guard:
            if self._depth:
                self._depth += 1
                try:
                    yield
                finally:
                    self._depth -= 1
                return
            with plainly(self.folder):
                self._connection.execute("BEGIN IMMEDIATE")
                self._depth = 1
                try:
                    yield
                    self._connection.execute("COMMIT")
                except BaseException:
                    if self._connection.in_transaction:
                        self._connection.execute("ROLLBACK")
                    raise
                finally:
                    self._depth = 0

    def write(self, statement: str, *values: Any) -> None:
        """Run one statement, in a transaction of its own unless one is open."""
        with self.transaction():
            self._connection.execute(statement, values)

    def rows(self, statement: str, *values: Any) -> list[tuple[Any, ...]]:
        """Return all rows of a query."""
        with self._guard, plainly(self.path):
            return self._connection.execute(statement, values).fetchall()

    def close(self) -> None:
        """Close the connection; a writer folds its log into the database first."""
        with self._guard:
            self._connection.close()
