"""One process writes a bench at a time; the lock goes with the process, however it ends."""

from __future__ import annotations

import fcntl
import os
from pathlib import Path

from counterproof.bench.faults import plainly
from counterproof.errors import UserError
from counterproof.texts import text

_NETWORK = {"nfs", "nfs4", "cifs", "smb3", "smbfs", "fuse.sshfs", "afs", "ncpfs", "ceph"}


class WriterLock:
    """An advisory lock on ``bench.lock``, held until :meth:`release`.

    Raises:
        UserError: if another process holds it.
    """

    def __init__(self, folder: Path) -> None:
        """Take the lock or say who has it."""
        path = folder / "bench.lock"
        with plainly(folder):
            self._handle = os.open(path, os.O_RDWR | os.O_CREAT | os.O_CLOEXEC, 0o644)
        try:
            fcntl.flock(self._handle, fcntl.LOCK_EX | fcntl.LOCK_NB)
        except OSError:
            holder = os.read(self._handle, 32).decode(errors="replace").strip() or "?"
            os.close(self._handle)
            raise UserError(text("bench.locked", path=folder, process=holder)) from None
        with plainly(folder):
            os.ftruncate(self._handle, 0)
            os.pwrite(self._handle, f"{os.getpid()}\n".encode(), 0)

    def release(self) -> None:
        """Let others write."""
        os.close(self._handle)


def file_system(folder: Path, table: str | None = None) -> str:
    """Return the type of the file system that holds ``folder``; empty where it cannot be told.

    Args:
        folder: an existing folder.
        table: the mount table's text; read from the system if absent.
    """
    if table is None:
        try:
            table = Path("/proc/self/mounts").read_text(encoding="utf-8", errors="replace")
        except OSError:
            return ""
    best, kind = "", ""
    where = str(folder.resolve())
    for line in table.splitlines():
        parts = line.split()
        if len(parts) < 3:
            continue
        mount = parts[1].replace("\\040", " ")
        inside = where == mount or where.startswith(mount.rstrip("/") + "/")
        if inside and len(mount) >= len(best):
            best, kind = mount, parts[2]
    return kind


def refuse_network(folder: Path, table: str | None = None) -> None:
    """Refuse a folder on a network share: the database's log cannot be trusted there.

    Raises:
        UserError: if it lies on one.
    """
    kind = file_system(folder, table)
    if kind in _NETWORK:
        raise UserError(text("bench.network", path=folder, kind=kind))
