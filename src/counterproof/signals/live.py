"""Live sources: what a microphone and a serial line have in common.

A source is a context manager that yields events as they come, with times in seconds from
:attr:`LiveSource.started` on one monotonic clock:

* :class:`SoundBlock` – the next samples (from a microphone);
* :class:`PulseBatch` – pulses since the last event, perhaps none: silence is news too;
* :class:`ReadingBatch` – numbers that the instrument sent;
* :class:`Gap` – a stretch in which nothing could be heard, with its reason; from a source of sound
  it is followed by silence of its length.

A thread listens and stamps, so that a slow screen never shifts a time. If the reader falls behind
by more than the queue holds, what is dropped becomes a gap: nothing is lost in silence.
:func:`gather` turns a finished listening into a train or a log.
"""

from __future__ import annotations

import queue
import threading
import time
from abc import abstractmethod
from collections.abc import Iterable, Iterator
from dataclasses import dataclass
from datetime import UTC, datetime
from typing import Protocol

import numpy as np
from numpy.typing import NDArray

from counterproof.signals.closing import Closing
from counterproof.signals.mapping import QUANTITIES, Mapping
from counterproof.signals.trains import CountLog, PulseTrain, ReadingLog
from counterproof.texts import text

Floats = NDArray[np.float64]


@dataclass(frozen=True, eq=False)
class SoundBlock:
    """Samples (float32, one channel) heard from ``start_s`` to ``until_s``."""

    start_s: float
    until_s: float
    samples: NDArray[np.float32]


@dataclass(frozen=True, eq=False)
class PulseBatch:
    """Pulses between ``start_s`` and ``until_s``, ascending; perhaps none."""

    start_s: float
    until_s: float
    times_s: Floats


@dataclass(frozen=True, eq=False)
class ReadingBatch:
    """Numbers that arrived between ``start_s`` and ``until_s``; perhaps none."""

    start_s: float
    until_s: float
    times_s: Floats
    values: Floats


@dataclass(frozen=True)
class Gap:
    """A stretch in which nothing could be heard, and why, as a sentence."""

    start_s: float
    until_s: float
    reason: str


Event = SoundBlock | PulseBatch | ReadingBatch | Gap


class LiveSource(Protocol):
    """What ``listen`` asks of a source."""

    started: datetime
    """UTC at time 0."""
    sample_rate_hz: int
    """Of its sound; 0 if it sends none."""
    warnings: list[str]
    """Sentences that the reader of a result must see."""

    def __iter__(self) -> Iterator[Event]:
        """Yield events until the source is closed; waits while nothing happens."""
        ...

    def close(self) -> None:
        """Stop listening; the iterator ends after what was heard so far."""
        ...


class QueuedSource(Closing):
    """A source whose producer puts events into a bounded queue.

    Args:
        most_waiting: events that may wait before what follows is dropped and noted as a gap.
    """

    sample_rate_hz = 0

    def __init__(self, most_waiting: int = 1000) -> None:
        """Set the clock to 0."""
        self.started = datetime.now(UTC)
        self.warnings: list[str] = []
        self._zero = time.monotonic()
        self._events: queue.Queue[Event] = queue.Queue(most_waiting)
        self._dropped_from: float | None = None
        self._closed = threading.Event()

    def now_s(self) -> float:
        """Seconds since the source was opened, monotonic."""
        return time.monotonic() - self._zero

    def _put(self, event: Event) -> None:
        try:
            if self._dropped_from is not None:
                reason = text("signals.live_overrun")
                self._events.put_nowait(Gap(self._dropped_from, event.start_s, reason))
                self._dropped_from = None
            self._events.put_nowait(event)
        except queue.Full:
            if self._dropped_from is None:
                self._dropped_from = event.start_s

    def __iter__(self) -> Iterator[Event]:
        """Yield events until the source is closed and its queue is empty."""
        while True:
            try:
                event = self._events.get(timeout=0.1)
            except queue.Empty:
                if self._closed.is_set() and self._events.empty():
                    break
                continue
            yield event
            if isinstance(event, Gap):
                yield from self._silence(event)
        if self._dropped_from is not None:
            yield Gap(self._dropped_from, self.now_s(), text("signals.live_overrun"))
            self._dropped_from = None

    def _silence(self, gap: Gap) -> Iterator[SoundBlock]:
        """Fill a gap in sound, so that who counts samples keeps the time."""
        rate = self.sample_rate_hz
        left, start = round((gap.until_s - gap.start_s) * rate), gap.start_s
        while left > 0:
            samples = np.zeros(min(left, rate), dtype=np.float32)
            yield SoundBlock(start, start + samples.size / rate, samples)
            left, start = left - samples.size, start + samples.size / rate

    def close(self) -> None:
        """Stop listening."""
        if not self._closed.is_set():
            self._stop()
            self._closed.set()

    @abstractmethod
    def _stop(self) -> None:
        """End the producer; it has put its last event when this returns."""


def gather(
    events: Iterable[Event], mapping: Mapping, warnings: Iterable[str] = ()
) -> PulseTrain | CountLog | ReadingLog:
    """Turn the events of a finished listening into one record.

    Args:
        events: everything a serial source yielded.
        mapping: what its lines mean.
        warnings: the source's own.

    Raises:
        ValueError: if the events hold sound, which has to go through click detection first.
    """
    times: list[Floats] = [np.empty(0)]
    values: list[Floats] = [np.empty(0)]
    gaps: list[tuple[float, float]] = []
    reasons: list[str] = []
    end = 0.0
    for event in events:
        end = max(end, event.until_s)
        if isinstance(event, Gap):
            gaps.append((event.start_s, event.until_s))
            if event.reason not in reasons:
                reasons.append(event.reason)
        elif isinstance(event, SoundBlock):
            raise ValueError("sound has to go through click detection")
        else:
            times.append(event.times_s)
            values.append(event.values if isinstance(event, ReadingBatch) else np.empty(0))
    said = (*warnings, *reasons)
    at, numbers = np.concatenate(times), np.concatenate(values)
    if mapping.role in ("byte", "pulse"):
        return PulseTrain(at, end, gaps_s=np.array(gaps).reshape(-1, 2), warnings=said)
    if mapping.role == "counts":
        length = mapping.interval_s or 0.0
        starts = np.maximum.accumulate(np.maximum(at - length, 0.0)) if at.size else at
        return CountLog(starts, np.full(at.size, length), np.rint(numbers).astype(np.int64), said)
    return ReadingLog(
        at,
        numbers,
        quantity=QUANTITIES[mapping.role],
        unit=mapping.unit,
        field="accumulated" if mapping.role in ("dose", "total") else mapping.field,
        quantum=mapping.quantum,
        warnings=said,
    )
