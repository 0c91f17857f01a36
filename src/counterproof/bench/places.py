"""Where files of a bench may lie: in one of its folders, nowhere else.

A bench may come from a stranger, so no name that is stored in it is trusted to stay inside.
"""

from __future__ import annotations

from pathlib import Path, PurePosixPath

from counterproof.errors import UserError
from counterproof.texts import text

FOLDERS = ("pulses", "logs", "recordings", "photos")
"""Folders of a bench that hold files the database knows of."""


def is_inside(name: str) -> bool:
    """Whether a stored name is a plain file name in one of the bench's folders."""
    parts = PurePosixPath(name).parts
    plain = not any(sign in name for sign in "\\:\0\n")
    return len(parts) == 2 and parts[0] in FOLDERS and not parts[1].startswith(".") and plain


def place(bench: Path, name: str) -> Path:
    """Return the path of a stored name.

    Raises:
        UserError: if the name, or a link in its place, leads out of the bench.
    """
    path = bench / name
    if not is_inside(name) or path.is_symlink() or path.parent.is_symlink():
        raise UserError(text("bench.outside", file=name))
    return path
