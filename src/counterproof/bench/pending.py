"""Which files are being added: what a crash leaves without a database row is found and removed.

Before a file is written its name goes into ``bench.pending``, synced. When the transaction is
over, by success, failure or the next opening after a crash, names that the database knows stay and
the others are deleted; then the journal goes.
"""

from __future__ import annotations

import os
from collections.abc import Iterable
from pathlib import Path

from counterproof.bench.database import Database
from counterproof.bench.faults import plainly
from counterproof.bench.places import is_inside


class Pending:
    """The journal of one bench.

    Args:
        folder: the bench's folder.
        database: where files are registered.
    """

    def __init__(self, folder: Path, database: Database) -> None:
        """Keep the journal in ``folder``."""
        self._folder = folder
        self._database = database
        self._journal = folder / "bench.pending"

    def note(self, names: Iterable[str]) -> None:
        """Announce files, by their names relative to the bench; on the disk on return.

        Raises:
            UserError: if the disk refuses.
        """
        lines = "".join(f"{name}\n" for name in names)
        if not lines:
            return
        with plainly(self._folder), self._journal.open("ab") as stream:
            stream.write(lines.encode())
            stream.flush()
            os.fsync(stream.fileno())

    def settle(self) -> None:
        """Delete announced files that the database does not know, and the journal.

        Raises:
            UserError: if the disk refuses; the journal is kept for the next try.
        """
        with plainly(self._folder):
            if not self._journal.exists():
                return
            names = self._journal.read_text(encoding="utf-8").split("\n")[:-1]
            known = {row[0] for row in self._database.rows("SELECT path FROM file")}
            for name in set(filter(is_inside, names)) - known:
                (self._folder / name).unlink(missing_ok=True)
            self._journal.unlink()
