"""Files that are either whole or not there.

:func:`atomic_write` writes beside the target, forces the bytes to the disk and renames: whoever
looks sees the old file or the new one, at any instant of a crash. It is for files that somebody
keeps.
"""

from __future__ import annotations

import os
import secrets
from collections.abc import Iterator
from contextlib import contextmanager, suppress
from pathlib import Path
from typing import BinaryIO

from counterproof.errors import UserError
from counterproof.texts import text


def sync_folder(folder: Path) -> None:
    """Force a folder's entries to the disk, where the platform can (not on Windows)."""
    if not hasattr(os, "O_DIRECTORY"):
        return
    with suppress(OSError):  # some network file systems refuse; the rename itself stands
        handle = os.open(folder, os.O_RDONLY | os.O_DIRECTORY)
        try:
            os.fsync(handle)
        finally:
            os.close(handle)


@contextmanager
def atomic_write(path: str | Path, *, make_folder: bool = False) -> Iterator[BinaryIO]:
    """Give a binary stream that becomes ``path`` when the block ends without an error.

    Args:
        path: the file to be.
        make_folder: make its folder where there is none.

    Raises:
        UserError: if the folder cannot be written or the disk is full; nothing is left behind.
    """
    path = Path(path)
    draft = path.with_name(f".{path.name}.{secrets.token_hex(6)}.tmp")
    try:
        if make_folder:
            path.parent.mkdir(parents=True, exist_ok=True)
        with draft.open("xb") as stream:
            yield stream
            stream.flush()
            os.fsync(stream.fileno())
        draft.replace(path)
        sync_folder(path.parent)
    except OSError as fault:
        reason = fault.strerror or str(fault)
        raise UserError(text("files.not_writable", path=path, reason=reason)) from fault
    finally:
        with suppress(OSError):
            draft.unlink(missing_ok=True)
