"""What a disk or database can say, turned into one sentence with what to do about it."""

from __future__ import annotations

import errno
import sqlite3
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

from counterproof.errors import UserError
from counterproof.texts import text

_FULL = {errno.ENOSPC, errno.EDQUOT}
_FORBIDDEN = {errno.EACCES, errno.EPERM, errno.EROFS}


@contextmanager
def plainly(path: Path) -> Iterator[None]:
    """Turn what the operating system or SQLite raises inside the block into a sentence.

    Raises:
        UserError: for a full disk, missing permission, a damaged or busy database, and the like.
    """
    try:
        yield
    except OSError as fault:
        raise UserError(_of_system(fault, path)) from fault
    except sqlite3.DatabaseError as fault:
        raise UserError(_of_database(fault, path)) from fault


def _of_system(fault: OSError, path: Path) -> str:
    place = fault.filename or path
    if fault.errno in _FULL:
        return text("bench.disk_full", path=path)
    if fault.errno in _FORBIDDEN:
        return text("bench.not_allowed", path=place)
    return text("bench.disk_fault", path=place, reason=fault.strerror or fault)


def _of_database(fault: sqlite3.DatabaseError, path: Path) -> str:
    code = getattr(fault, "sqlite_errorcode", None)
    primary = None if code is None else code & 0xFF
    if primary == sqlite3.SQLITE_FULL:
        return text("bench.disk_full", path=path)
    if primary in (sqlite3.SQLITE_READONLY, sqlite3.SQLITE_CANTOPEN, sqlite3.SQLITE_PERM):
        return text("bench.not_allowed", path=path)
    if primary in (sqlite3.SQLITE_BUSY, sqlite3.SQLITE_LOCKED):
        return text("bench.busy", path=path)
    if primary in (sqlite3.SQLITE_CORRUPT, sqlite3.SQLITE_NOTADB):
        return text("bench.damaged", path=path)
    return text("bench.disk_fault", path=path, reason=fault)
