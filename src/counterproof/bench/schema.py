"""The database's shape, version by version.

``PRAGMA user_version`` counts the migrations that have been applied. A new shape is one more entry
at the end; entries that are out in the world are never changed. Before an old bench is migrated,
a copy of its database is kept beside it.
"""

from __future__ import annotations

import sqlite3
from pathlib import Path

from counterproof.errors import UserError
from counterproof.texts import text

APPLICATION_ID = 0x43505246  # "CPRF", tells this file from any other database

MIGRATIONS: tuple[str, ...] = (
    """
    CREATE TABLE meta (key TEXT PRIMARY KEY, value TEXT NOT NULL) WITHOUT ROWID;
    CREATE TABLE item (
        kind TEXT NOT NULL,
        id TEXT NOT NULL,
        revision INTEGER NOT NULL,
        deleted INTEGER NOT NULL DEFAULT 0,
        instrument TEXT,
        started_utc TEXT,
        PRIMARY KEY (kind, id)
    ) WITHOUT ROWID;
    CREATE INDEX item_by_instrument ON item (kind, instrument, started_utc);
    CREATE TABLE revision (
        kind TEXT NOT NULL,
        id TEXT NOT NULL,
        revision INTEGER NOT NULL,
        deleted INTEGER NOT NULL DEFAULT 0,
        written_utc TEXT NOT NULL,
        note TEXT NOT NULL DEFAULT '',
        body TEXT NOT NULL,
        PRIMARY KEY (kind, id, revision),
        FOREIGN KEY (kind, id) REFERENCES item (kind, id)
    ) WITHOUT ROWID;
    CREATE TABLE file (
        path TEXT PRIMARY KEY,
        kind TEXT NOT NULL,
        id TEXT NOT NULL,
        sha256 TEXT NOT NULL,
        bytes INTEGER NOT NULL,
        state TEXT NOT NULL CHECK (state IN ('here', 'open', 'left out')),
        FOREIGN KEY (kind, id) REFERENCES item (kind, id)
    ) WITHOUT ROWID;
    CREATE TABLE live_reading (
        run TEXT NOT NULL,
        time_s REAL NOT NULL,
        value REAL NOT NULL,
        quantity TEXT NOT NULL,
        unit TEXT NOT NULL,
        field TEXT NOT NULL
    );
    """,
)


def migrate(connection: sqlite3.Connection, folder: Path) -> None:
    """Bring the database to the newest version, one transaction for each step.

    Raises:
        UserError: if the database is another program's, or was written by a newer version.
    """
    (version,) = connection.execute("PRAGMA user_version").fetchone()
    (owner,) = connection.execute("PRAGMA application_id").fetchone()
    if version > len(MIGRATIONS):
        raise UserError(text("bench.newer", path=folder, found=version, known=len(MIGRATIONS)))
    if version and owner != APPLICATION_ID:
        raise UserError(text("bench.foreign", path=folder))
    if version == len(MIGRATIONS):
        return
    if version:
        keep_copy(connection, folder / f"bench.version-{version}.sqlite")
    for number, script in enumerate(MIGRATIONS[version:], start=version + 1):
        connection.execute("BEGIN IMMEDIATE")
        try:
            for statement in script.split(";"):
                if statement.strip():
                    connection.execute(statement)
            connection.execute(f"PRAGMA application_id = {APPLICATION_ID}")
            connection.execute(f"PRAGMA user_version = {number}")
        except BaseException:
            connection.execute("ROLLBACK")
            raise
        connection.execute("COMMIT")


def keep_copy(connection: sqlite3.Connection, target: Path) -> None:
    """Copy the database as it is into ``target``."""
    copy = sqlite3.connect(target)
    try:
        connection.backup(copy)
    finally:
        copy.close()
