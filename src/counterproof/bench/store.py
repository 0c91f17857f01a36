"""The bench: one folder that holds everything about one workshop's instruments and work."""

from __future__ import annotations

import contextlib
import re
import uuid
from collections.abc import Iterator, Sequence
from pathlib import Path
from types import TracebackType
from typing import Self

from pydantic import BaseModel

from counterproof.bench.codec import Item, T, id_of, kind_of
from counterproof.bench.database import NAME, Database
from counterproof.bench.faults import plainly
from counterproof.bench.items import Items, Revision
from counterproof.bench.live import LiveRun, live_file, settle
from counterproof.bench.lock import WriterLock, refuse_network
from counterproof.bench.pending import Pending
from counterproof.bench.photos import without_metadata
from counterproof.bench.places import FOLDERS, place
from counterproof.bench.signalfiles import (
    AnySignal,
    load_signal,
    recording_name,
    sha256_of,
    signal_name,
    store_recording,
    store_signal,
)
from counterproof.errors import UserError
from counterproof.kit import Instrument, Probe, Source
from counterproof.progress import Report, silent
from counterproof.records import Run
from counterproof.safefile import atomic_write
from counterproof.signals.trains import CountLog, PulseTrain, ReadingLog
from counterproof.texts import text

_ID = re.compile(r"[A-Za-z0-9][A-Za-z0-9._-]{0,63}")


class Bench:
    """A bench folder, opened by :meth:`create` or :meth:`open`; close it or use ``with``.

    One process writes at a time; any number may read beside it. Everything that is written is
    either wholly there or not at all.
    """

    def __init__(self, folder: Path, database: Database, lock: WriterLock | None) -> None:
        """Hold what :meth:`create` and :meth:`open` made."""
        self.folder = folder
        self.database = database
        self.items = Items(database)
        self._pending = Pending(folder, database)
        self._lock = lock

    # -- opening and closing

    @classmethod
    def create(cls, folder: Path | str, name: str = "") -> Self:
        """Make a new bench and open it for writing.

        Args:
            folder: a new or empty folder.
            name: what the workshop is called; the folder's name if absent.

        Raises:
            UserError: if the folder holds anything, lies on a network share or cannot be written.
        """
        folder = Path(folder)
        with plainly(folder):
            if folder.exists() and (not folder.is_dir() or any(folder.iterdir())):
                raise UserError(text("bench.not_empty", path=folder))
            folder.mkdir(parents=True, exist_ok=True)
        refuse_network(folder)
        lock = WriterLock(folder)
        try:
            with plainly(folder):
                for sub in FOLDERS:
                    (folder / sub).mkdir(exist_ok=True)
            database = Database(folder, writable=True)
            with database.transaction():
                for key, value in (("id", uuid.uuid4().hex), ("name", name or folder.name)):
                    database.write("INSERT OR IGNORE INTO meta VALUES (?, ?)", key, value)
        except BaseException:
            lock.release()
            raise
        return cls(folder, database, lock)

    @classmethod
    def open(cls, folder: Path | str, write: bool = True) -> Self:
        """Open a bench.

        A writer brings an older bench up to date, removes what a crash left half-written and
        closes runs that were being recorded then, marking them interrupted.

        Raises:
            UserError: if there is none, another process writes it, a newer version made it, or it
                cannot be read or written.
        """
        folder = Path(folder)
        with plainly(folder):
            if not (folder / NAME).is_file():
                key = "bench.no_bench" if folder.is_dir() else "bench.no_folder"
                raise UserError(text(key, path=folder))
        if not write:
            return cls(folder, Database(folder, writable=False), None)
        refuse_network(folder)
        lock = WriterLock(folder)
        try:
            bench = cls(folder, Database(folder, writable=True), lock)
        except BaseException:
            lock.release()
            raise
        try:
            bench._clear_up()
        except BaseException:
            bench.close()
            raise
        return bench

    def _clear_up(self) -> None:
        with plainly(self.folder):
            for sub in FOLDERS:
                (self.folder / sub).mkdir(exist_ok=True)
                for draft in (self.folder / sub).glob(".*.tmp"):
                    draft.unlink()
        self._pending.settle()
        for (run_id,) in self.database.rows("SELECT id FROM file WHERE state = 'open'"):
            settle(self, self.items.get(Run, run_id), interrupted=True)

    def close(self) -> None:
        """Close the database and let others write."""
        self.database.close()
        if self._lock is not None:
            self._lock.release()
            self._lock = None

    def __enter__(self) -> Self:
        """Use as a context manager."""
        return self

    def __exit__(
        self,
        kind: type[BaseException] | None,
        fault: BaseException | None,
        trace: TracebackType | None,
    ) -> None:
        """Close."""
        self.close()

    # -- kit items and records

    @property
    def name(self) -> str:
        """What the workshop is called."""
        return str(self.database.rows("SELECT value FROM meta WHERE key = 'name'")[0][0])

    @contextlib.contextmanager
    def transaction(self) -> Iterator[None]:
        """Many changes as one: all of them or none, and one wait for the disk."""
        try:
            with self.database.transaction():
                yield
        finally:
            if not self.database.in_transaction:
                with contextlib.suppress(UserError):  # tried again when the bench is opened
                    self._pending.settle()

    def add(self, item: Item, note: str = "") -> str:
        """Add a kit item or a record and return its name or id (a new one if it has none).

        Runs come with their signals: use :meth:`add_run`.

        Raises:
            UserError: if there is one of that kind and name already.
        """
        if isinstance(item, Run):
            return self.add_run(item).id
        if "id" in type(item).model_fields and not id_of(item):
            item = item.model_copy(update={"id": self.items.next_id(type(item))})
        return self.items.add(item, note)

    def get(self, cls: type[T], name: str) -> T:
        """Return an item: ``bench.get(Tube, "slim steel")``, ``bench.get(Run, "run-0001")``.

        Raises:
            UserError: if there is none; the nearest name is offered.
        """
        return self.items.get(cls, name)

    def list(self, cls: type[T], instrument: str | None = None) -> tuple[T, ...]:
        """Return all items of a kind, runs by their start, all else by name."""
        return self.items.all(cls, instrument)

    def names(self, cls: type[BaseModel], instrument: str | None = None) -> tuple[str, ...]:
        """Return names or ids of a kind in the order of :meth:`list`, without reading them."""
        return self.items.names(cls, instrument)

    def amend(self, item: Item, note: str = "") -> int:
        """Store a changed item under the same name; what it was stays in its history.

        Raises:
            UserError: if there is no such item.
        """
        return self.items.amend(item, note)

    def put(self, item: Item) -> None:
        """Store an item; one of the same name becomes its history."""
        if id_of(item) in self.names(type(item)):
            self.amend(item)
        else:
            self.add(item)

    def delete(self, cls: type[BaseModel], name: str, note: str = "") -> None:
        """Delete an item: it is listed no more, its history and files stay.

        Raises:
            UserError: if there is no such item.
        """
        self.items.delete(cls, name, note)

    def history(self, cls: type[BaseModel], name: str) -> tuple[Revision, ...]:
        """Return every revision of an item, also of a deleted one.

        Raises:
            UserError: if there never was one.
        """
        return self.items.history(cls, name)

    def restore(self, cls: type[T], name: str, number: int) -> T:
        """Make an earlier revision the current one; undoes edits and deletions.

        Raises:
            UserError: if there is no such item or revision.
        """
        return self.items.restore(cls, name, number)

    # -- runs

    def new_run_id(self) -> str:
        """Return a free id for a run."""
        return self.items.next_id(Run)

    def add_run(
        self,
        run: Run,
        signals: Sequence[AnySignal] = (),
        recordings: Sequence[Path] = (),
        report: Report = silent,
    ) -> Run:
        """Store a run with its signals and return it as stored.

        Args:
            run: who, where and when; ``id`` may be empty; its ``signals`` are replaced.
            signals: pulse trains, count logs and reading logs.
            recordings: sound or video files to be copied to the bench.
            report: progress of the copying.

        Raises:
            UserError: if the run's instrument, probe or a source is not on the bench, the id is
                taken, or the disk refuses; nothing is stored then.
            Cancelled: if ``report`` answers ``False``; nothing is stored then.
        """
        run = self._named(run)
        named = [(f"{run.id}-{n}", s) for n, s in enumerate(signals, start=1)]
        copied = [(f"{run.id}-{n}", Path(p)) for n, p in enumerate(recordings, start=1)]
        with self.transaction():
            self._pending.note(signal_name(*pair) for pair in named)
            self._pending.note(recording_name(*pair) for pair in copied)
            stored = [store_signal(self.folder, *pair, report) for pair in named]
            stored += [store_recording(self.folder, *pair, report) for pair in copied]
            longest = max((s.duration_s or 0.0 for s in stored), default=0.0)
            run = run.model_copy(
                update={"signals": tuple(stored), "duration_s": run.duration_s or longest}
            )
            self.items.add(run)
            self.register(run)
        return run

    def start_live(self, run: Run) -> LiveRun:
        """Begin a run that is recorded as it goes; it counts as interrupted until finished.

        Raises:
            UserError: as :meth:`add_run`.
        """
        run = self._named(run).model_copy(update={"interrupted": True, "signals": ()})
        with self.transaction():
            self.items.add(run)
            self._open_file(run.id)
        return LiveRun(self, run)

    def resume_live(self, run_id: str) -> LiveRun:
        """Carry on an interrupted run; note the time that was missed with ``LiveRun.gap``.

        Raises:
            UserError: if there is no such run or it was not interrupted.
        """
        run = self.get(Run, run_id)
        if not run.interrupted:
            raise UserError(text("bench.not_interrupted", id=run_id))
        known = self.database.rows("SELECT 1 FROM live_reading WHERE run = ? LIMIT 1", run_id)
        with self.transaction():
            for log in () if known else self.load_reading_logs(run):
                for time_s, value in zip(log.times_s.tolist(), log.values.tolist(), strict=True):
                    self.database.write(
                        "INSERT INTO live_reading VALUES (?, ?, ?, ?, ?, ?)",
                        *(run_id, time_s, value, log.quantity, log.unit, log.field),
                    )
            self._open_file(run_id)
        return LiveRun(self, run, resume=True)

    def attach_recordings(
        self, run_id: str, recordings: Sequence[Path], report: Report = silent
    ) -> Run:
        """Copy recordings to a run that is stored already and return the run.

        Raises:
            UserError: if there is no such run or the disk refuses.
        """
        run = self.get(Run, run_id)
        first = 1 + sum(s.form == "recording" for s in run.signals)
        copied = [(f"{run.id}-{n}", Path(p)) for n, p in enumerate(recordings, start=first)]
        with self.transaction():
            self._pending.note(recording_name(*pair) for pair in copied)
            added = [store_recording(self.folder, *pair, report) for pair in copied]
            run = run.model_copy(update={"signals": (*run.signals, *added)})
            self.items.amend(run, text("bench.recordings_added"))
            self.register(run)
        return run

    def load_train(self, run: Run | str) -> PulseTrain:
        """Return a run's pulse train.

        Raises:
            UserError: if it has none, or the file is missing or unreadable.
        """
        found = self._load(run, "pulse_train")
        if not found:
            raise UserError(text("bench.no_train", id=run if isinstance(run, str) else run.id))
        return found[0]  # type: ignore[return-value]

    def load_count_logs(self, run: Run | str) -> tuple[CountLog, ...]:
        """Return a run's count logs; none is an empty tuple."""
        return self._load(run, "count_log")  # type: ignore[return-value]

    def load_reading_logs(self, run: Run | str) -> tuple[ReadingLog, ...]:
        """Return a run's reading logs; none is an empty tuple."""
        return self._load(run, "reading_log")  # type: ignore[return-value]

    def recording_paths(self, run: Run | str) -> tuple[Path, ...]:
        """Return where a run's recordings lie; those left out of an import are not there."""
        run = self.get(Run, run) if isinstance(run, str) else run
        paths = (place(self.folder, s.file) for s in run.signals if s.form == "recording")
        return tuple(path for path in paths if path.is_file())

    def _load(self, run: Run | str, form: str) -> tuple[AnySignal, ...]:
        run = self.get(Run, run) if isinstance(run, str) else run
        return tuple(load_signal(self.folder, s) for s in run.signals if s.form == form)

    def _named(self, run: Run) -> Run:
        if not run.id:
            run = run.model_copy(update={"id": self.new_run_id()})
        if not _ID.fullmatch(run.id):
            raise UserError(text("bench.bad_run_id", id=run.id))
        if run.id in self.names(Run):
            raise UserError(text("bench.name_taken", kind="run", name=run.id))
        self.items.require(Instrument, run.instrument)
        if run.probe is not None:
            self.items.require(Probe, run.probe)
        for source in run.sources:
            self.items.require(Source, source)
        return run

    def register(self, run: Run) -> None:
        """Enter a run's files, so that :func:`~counterproof.bench.check.check` knows them."""
        for signal in run.signals:
            self._enter(signal.file, "run", run.id, signal.sha256)

    def _enter(self, name: str, kind: str, item: str, digest: str) -> None:
        with plainly(self.folder):
            size = (self.folder / name).stat().st_size
        self.database.write(
            "INSERT INTO file VALUES (?, ?, ?, ?, ?, 'here') ON CONFLICT (path) DO UPDATE SET"
            " sha256 = excluded.sha256, bytes = excluded.bytes, state = 'here'",
            *(name, kind, item, digest, size),
        )

    def _open_file(self, run_id: str) -> None:
        self.database.write(
            "INSERT INTO file VALUES (?, 'run', ?, '', 0, 'open') ON CONFLICT (path) DO UPDATE SET"
            " state = 'open'",
            *(live_file(run_id), run_id),
        )

    # -- photographs

    def add_photo(self, item: Item, source: Path) -> str:
        """Copy a photograph for an item on the bench and return its name for ``photos``.

        What the camera wrote into it (place, time, serial number) is not copied.

        Raises:
            UserError: if it is no JPEG or PNG, the item is not on the bench, or the disk refuses.
        """
        self.items.require(type(item), id_of(item))
        with plainly(source):
            content = source.read_bytes()
        content, suffix = without_metadata(content, source.name)
        stem = re.sub(r"[^A-Za-z0-9_-]+", "-", source.stem).strip("-")[:40] or "photo"
        name, number = f"photos/{stem}{suffix}", 1
        while (self.folder / name).exists():
            number += 1
            name = f"photos/{stem}-{number}{suffix}"
        with self.transaction():
            self._pending.note([name])
            with atomic_write(self.folder / name) as stream:
                stream.write(content)
            self._enter(name, kind_of(type(item)), id_of(item), sha256_of(self.folder / name))
        return name
