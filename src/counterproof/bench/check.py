"""Is the bench whole? Database, files and checksums."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

from counterproof.bench.codec import decode
from counterproof.bench.places import FOLDERS, place
from counterproof.bench.signalfiles import sha256_of
from counterproof.errors import UserError
from counterproof.kit import KINDS
from counterproof.progress import Report, silent, step
from counterproof.records import Record
from counterproof.texts import text

if TYPE_CHECKING:
    from counterproof.bench.store import Bench


@dataclass(frozen=True, slots=True)
class CheckReport:
    """What a check found.

    Args:
        problems: a sentence for each thing that is damaged or missing; empty if all is well.
        notes: what is worth knowing without being wrong.
        items: number of items looked at.
        files: number of files whose checksum was compared.
        total_bytes: their size.
    """

    problems: tuple[str, ...]
    notes: tuple[str, ...]
    items: int
    files: int
    total_bytes: int

    @property
    def ok(self) -> bool:
        """Whether nothing is wrong."""
        return not self.problems


def check(bench: Bench, report: Report = silent) -> CheckReport:
    """Check database, items, files and checksums; changes nothing.

    Args:
        bench: opened for reading or writing.
        report: asked after each file.

    Raises:
        Cancelled: if ``report`` answers ``False``.
    """
    problems: list[str] = []
    notes: list[str] = []
    rows = bench.database.rows
    for (said,) in rows("PRAGMA integrity_check"):
        if said != "ok":
            problems.append(text("bench.check_database", reason=said))
    if rows("PRAGMA foreign_key_check"):
        problems.append(text("bench.check_references"))
    items = rows(
        "SELECT kind, id, body FROM item JOIN revision USING (kind, id, revision)"
        " WHERE item.deleted = 0"
    )
    for kind, name, body in items:
        cls = KINDS.get(kind) or Record.registry.get(kind)
        if cls is None:
            problems.append(text("bench.check_kind", kind=kind, id=name))
            continue
        try:
            decode(cls, name, body)
        except UserError as error:
            problems.append(error.message)
    files = rows("SELECT path, id, sha256, bytes, state FROM file ORDER BY path")
    total = 0
    for number, (name, owner, digest, size, state) in enumerate(files, start=1):
        step(report, number, len(files))
        try:
            path = place(bench.folder, name)
        except UserError as error:
            problems.append(error.message)
            continue
        if state == "open":
            notes.append(text("bench.check_open", id=owner))
        elif not path.is_file():
            if state == "left out":
                notes.append(text("bench.check_left_out", file=name, id=owner))
            else:
                problems.append(text("bench.check_missing", file=name, id=owner))
        elif path.stat().st_size != size or sha256_of(path) != digest:
            problems.append(text("bench.check_changed", file=name, id=owner))
        else:
            total += size
    known = {row[0] for row in files}
    for sub in FOLDERS:
        for path in sorted((bench.folder / sub).glob("*")):
            name = f"{sub}/{path.name}"
            if name not in known and not path.name.startswith("."):
                notes.append(text("bench.check_stray", file=name))
    return CheckReport(tuple(problems), tuple(notes), len(items), len(files), total)
