"""A run being recorded: pulses and readings are on the disk while it goes on.

Pulses go to their file at least every half second and are synced there, readings are committed
one by one. If the process dies, at most the last half second is lost (plus what the caller had
not handed over); the next time the bench is opened the run is closed as *interrupted* with what
there is, and it can be carried on.
"""

from __future__ import annotations

import time
from collections.abc import Mapping, Sequence
from pathlib import Path
from types import TracebackType
from typing import TYPE_CHECKING, Any, Self

import numpy as np
from numpy.typing import NDArray

from counterproof.bench.faults import plainly
from counterproof.bench.signalfiles import sha256_of, store_signal
from counterproof.errors import UserError
from counterproof.records import Run, Signal
from counterproof.signals.pulsefile import PulseWriter, compact, summary
from counterproof.signals.trains import ReadingLog
from counterproof.texts import text

if TYPE_CHECKING:
    from counterproof.bench.store import Bench

FLUSH_S = 0.5
"""Longest stretch of pulses that waits for the disk, in seconds."""


class LiveRun:
    """The writer of one run while it is recorded; made by ``Bench.start_live``.

    Leaving it as a context manager finishes the run, or leaves it *interrupted* when an error
    passes through.

    Args:
        bench: where the run lies.
        run: the run as stored, marked interrupted until it is finished.
        resume: carry on after what is already on the disk.
    """

    def __init__(self, bench: Bench, run: Run, resume: bool = False) -> None:
        """Open the run's pulse file."""
        self.bench = bench
        self.run = run
        self._path = bench.folder / live_file(run.id)
        self._writer = PulseWriter(self._path, resume=resume and self._path.exists())
        self._waiting: list[NDArray[np.float64]] = []
        self._until = self._flushed = self._writer.reached_s
        self._flushed_at = time.monotonic()
        self._zero_s = 0.0

    @property
    def reached_s(self) -> float:
        """Time up to which it has been listened to, in s; counted as in :meth:`append`."""
        return self._until - self._zero_s

    def carry_on(self, at_s: float) -> None:
        """Listen again from ``at_s`` of the run on: times from now on are counted from there.

        What lies between becomes a gap.
        """
        at_s = max(at_s, self._until)
        if at_s > self._until:
            self.gap(self._until, at_s)
        self._zero_s = at_s

    def append(self, times_s: NDArray[np.float64], until_s: float) -> None:
        """Take the pulses of the stretch that ends at ``until_s``.

        Args:
            times_s: ascending times since the run's start, none before the last; may be empty.
            until_s: end of the stretch, at least ten times a second while recording.

        Raises:
            UserError: if the disk refuses.
            ValueError: if times step back.
        """
        times = np.asarray(times_s, dtype=np.float64) + self._zero_s
        until_s += self._zero_s
        if until_s < self._until or (times.size and times[0] < self._writer.reached_s - 1e-6):
            raise ValueError("a stretch must not begin before the last one ended")
        self._waiting.append(times)
        self._until = until_s
        late = time.monotonic() - self._flushed_at
        if until_s - self._flushed >= FLUSH_S or late >= FLUSH_S:
            self.flush()

    def gap(self, start_s: float, end_s: float) -> None:
        """Note that nothing could be heard from ``start_s`` to ``end_s``."""
        self.flush()
        start_s, end_s = start_s + self._zero_s, end_s + self._zero_s
        self._writer.gap(start_s, end_s)
        self._until = self._flushed = max(self._until, end_s)

    def reading(
        self, time_s: float, value: float, quantity: str, unit: str, field: str = "momentary"
    ) -> None:
        """Take a displayed number read at ``time_s`` since the start; on the disk on return.

        Raises:
            UserError: if the disk refuses.
        """
        self.bench.database.write(
            "INSERT INTO live_reading VALUES (?, ?, ?, ?, ?, ?)",
            *(self.run.id, time_s + self._zero_s, value, quantity, unit, field),
        )

    def readings(self) -> list[tuple[float, float, str, str, str]]:
        """Return what was read so far, as entered: (time_s, value, quantity, unit, field)."""
        return [
            (float(t), float(v), str(q), str(u), str(f))
            for t, v, q, u, f in self.bench.database.rows(
                "SELECT time_s, value, quantity, unit, field FROM live_reading WHERE run = ?"
                " ORDER BY rowid",
                self.run.id,
            )
        ]

    def strike_reading(self) -> None:
        """Take back the reading that was entered last."""
        self.bench.database.write(
            "DELETE FROM live_reading WHERE rowid ="
            " (SELECT max(rowid) FROM live_reading WHERE run = ?)",
            self.run.id,
        )

    def note(self, notes: Mapping[str, Any]) -> None:
        """Note what is known of the pulse train; see :meth:`finish`."""
        self.flush()
        self._writer.note(notes)

    def flush(self) -> None:
        """Bring what waits to the disk.

        Raises:
            UserError: if the disk refuses; what waits is kept for the next try.
        """
        if self._until > self._flushed or any(part.size for part in self._waiting):
            pulses = np.concatenate(self._waiting) if self._waiting else np.empty(0)
            self._writer.append(pulses, self._until)
        self._waiting.clear()
        self._flushed = self._until
        self._flushed_at = time.monotonic()

    def finish(
        self, notes: Mapping[str, Any] | None = None, recordings: Sequence[Path] = ()
    ) -> Run:
        """End the run and return it as stored.

        Args:
            notes: of the pulse train: ``resolving_time_s``, ``efficiency``, ``efficiency_u``,
                ``false_rate_per_s``, ``warnings``.
            recordings: sound that was kept beside, to be copied to the bench.

        Raises:
            UserError: if the disk refuses; the run stays open and can be finished again.
        """
        self.flush()
        if notes:
            self._writer.note(notes)
        self._writer.close()
        compact(self._path)
        self.run = settle(self.bench, self.run, interrupted=False)
        if recordings:
            self.run = self.bench.attach_recordings(self.run.id, recordings)
        return self.run

    def abandon(self) -> None:
        """Leave the run as interrupted with what there is."""
        self.flush()
        self._writer.close()
        self.run = settle(self.bench, self.run, interrupted=True)

    def __enter__(self) -> Self:
        """Use as a context manager."""
        return self

    def __exit__(
        self,
        kind: type[BaseException] | None,
        fault: BaseException | None,
        trace: TracebackType | None,
    ) -> None:
        """Finish, or after an error leave the run as interrupted."""
        if kind is None:
            self.finish()
        else:
            self.abandon()


def live_file(run_id: str) -> str:
    """Return the place of a live run's pulses, relative to the bench."""
    return f"pulses/{run_id}-live.pulses"


def settle(bench: Bench, run: Run, interrupted: bool) -> Run:
    """Close a live run with what is on the disk: count, length, checksum and readings.

    Raises:
        UserError: if the disk refuses; the run stays open.
    """
    name = live_file(run.id)
    path = bench.folder / name
    signals = [s for s in run.signals if s.form == "recording"]
    duration = 0.0
    if path.exists():
        try:
            found = summary(path)
        except UserError:  # died before the file's head was written: there is nothing in it
            found = None
        if found is not None and (found.count or found.duration_s > 0.0):
            duration = found.duration_s
            note = "" if found.complete else text("bench.cut_off")
            signals.append(
                Signal(
                    form="pulse_train",
                    file=name,
                    sha256=sha256_of(path),
                    count=found.count,
                    duration_s=duration,
                    note=note,
                )
            )
    for number, log in enumerate(_readings(bench, run.id), start=1):
        signals.append(store_signal(bench.folder, f"{run.id}-readings-{number}", log))
        duration = max(duration, float(log.times_s[-1]))
    closed = run.model_copy(
        update={
            "signals": tuple(signals),
            "duration_s": max(duration, run.duration_s if signals else 0.0),
            "interrupted": interrupted,
        }
    )
    with bench.database.transaction():
        bench.items.amend(closed, text("bench.interrupted" if interrupted else "bench.finished"))
        bench.database.write("DELETE FROM file WHERE kind = 'run' AND id = ?", run.id)
        bench.register(closed)
    if path.exists() and not any(s.file == name for s in signals):
        with plainly(path):
            path.unlink()
    return closed


def _readings(bench: Bench, run_id: str) -> list[ReadingLog]:
    rows = bench.database.rows(
        "SELECT time_s, value, quantity, unit, field FROM live_reading"
        " WHERE run = ? ORDER BY quantity, unit, field, time_s, rowid",
        run_id,
    )
    groups: dict[tuple[str, str, str], list[tuple[float, float]]] = {}
    for time_s, value, quantity, unit, field in rows:
        groups.setdefault((quantity, unit, field), []).append((time_s, value))
    logs = []
    for (quantity, unit, field), pairs in groups.items():
        columns = np.asarray(pairs, dtype=np.float64)
        logs.append(ReadingLog(columns[:, 0], columns[:, 1], quantity, unit, field))
    return logs
