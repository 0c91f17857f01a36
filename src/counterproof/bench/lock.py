"""One process writes a bench at a time; the lock goes with the process, however it ends."""

from __future__ import annotations

import os
import sys
from pathlib import Path

from counterproof.bench.faults import plainly
from counterproof.errors import UserError
from counterproof.texts import text

_NETWORK = {"nfs", "nfs4", "cifs", "smb3", "smbfs", "fuse.sshfs", "afs", "ncpfs", "ceph"}
# Windows locks bytes, not files, and nobody else may read them: lock one far behind the number
_FAR = 1 << 30


def _seize(handle: int) -> None:
    """Lock an open file for this process alone.

    Raises:
        OSError: if another process has it.
    """
    if sys.platform == "win32":
        import msvcrt

        os.lseek(handle, _FAR, os.SEEK_SET)
        msvcrt.locking(handle, msvcrt.LK_NBLCK, 1)
        os.lseek(handle, 0, os.SEEK_SET)
    else:
        import fcntl

        fcntl.flock(handle, fcntl.LOCK_EX | fcntl.LOCK_NB)


class WriterLock:
    """An advisory lock on ``bench.lock``, held until :meth:`release`.

    Raises:
        UserError: if another process holds it.
    """

    def __init__(self, folder: Path) -> None:
        """Take the lock or say who has it."""
        path = folder / "bench.lock"
        with plainly(folder):
            self._handle = os.open(path, os.O_RDWR | os.O_CREAT, 0o644)
        try:
            _seize(self._handle)
        except OSError:
            os.lseek(self._handle, 0, os.SEEK_SET)
            holder = os.read(self._handle, 32).decode(errors="replace").strip() or "?"
            os.close(self._handle)
            raise UserError(text("bench.locked", path=folder, process=holder)) from None
        with plainly(folder):
            os.ftruncate(self._handle, 0)
            os.write(self._handle, f"{os.getpid()}\n".encode())

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
