"""The rotating log: what happened, kept for the day something goes wrong."""

from __future__ import annotations

import logging
from logging.handlers import RotatingFileHandler
from pathlib import Path

import platformdirs

from counterproof.workshop.settings import APP

LOGGER = logging.getLogger("counterproof")
_BYTES = 1_000_000
_KEPT = 3
_STYLE = logging.Formatter("%(asctime)s %(levelname)s %(name)s: %(message)s")


def start_log(folder: Path | None = None) -> Path | None:
    """Log to a rotating file.

    Returns the file's path, or ``None`` when the folder cannot be written: a log that fails must
    not stop the work.
    """
    LOGGER.setLevel(logging.DEBUG)
    LOGGER.propagate = False
    for handler in list(LOGGER.handlers):
        LOGGER.removeHandler(handler)
        handler.close()
    LOGGER.addHandler(logging.NullHandler())
    path = (folder or platformdirs.user_log_path(APP)) / "counterproof.log"
    try:
        path.parent.mkdir(parents=True, exist_ok=True)
        file = RotatingFileHandler(path, maxBytes=_BYTES, backupCount=_KEPT, encoding="utf-8")
    except OSError:
        return None
    file.setFormatter(_STYLE)
    LOGGER.addHandler(file)
    return path


def show_log() -> None:
    """Show the log on stderr too."""
    screen = logging.StreamHandler()
    screen.setFormatter(_STYLE)
    LOGGER.addHandler(screen)
