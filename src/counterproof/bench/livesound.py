"""Sound on the disk while a run is recorded, so that a crash costs no more than half a second.

A detector is sure of a click only a second or two after it, and before it has learned the click's
shape it is sure of none. What it may still need lies here: plain 16-bit pieces of a minute each,
named by their start in milliseconds of the run's time. Either all are kept until the run is
finished, or only what is not yet counted.
"""

from __future__ import annotations

import os
import struct
import time
from dataclasses import dataclass
from pathlib import Path
from typing import BinaryIO

import numpy as np
from numpy.typing import NDArray

from counterproof.bench.faults import plainly

PIECE_S = 60.0
SYNC_S = 0.4
BEHIND_S = 120.0
"""So much stays before what is counted, for the click's shape to be learned from again."""

_HEAD = struct.Struct("<4sI4s4sIHHIIHH4sI")


@dataclass(frozen=True)
class Piece:
    """A stretch of sound of a run that is or was being recorded."""

    path: Path
    start_s: float
    sample_rate_hz: int
    samples: int

    @property
    def end_s(self) -> float:
        """Where it ends, in s of the run."""
        return self.start_s + self.samples / self.sample_rate_hz

    def read(self) -> NDArray[np.float32]:
        """Return its samples in full scale."""
        with plainly(self.path):
            data = self.path.read_bytes()[_HEAD.size :]
        whole = data[: len(data) // 2 * 2]
        return (np.frombuffer(whole, dtype="<i2") / np.float32(32768.0)).astype(np.float32)


def pieces(folder: Path, run_id: str) -> list[Piece]:
    """Return the pieces of a run's sound, by time."""
    found = []
    with plainly(folder):
        for path in (folder / "recordings").glob(f"{run_id}-live-*.wav"):
            with path.open("rb") as stream:
                head = stream.read(_HEAD.size)
            if len(head) < _HEAD.size:
                continue
            rate = int(_HEAD.unpack(head)[7])
            start = int(path.stem.rpartition("-")[2]) / 1000.0
            found.append(Piece(path, start, rate, (path.stat().st_size - _HEAD.size) // 2))
    return sorted(found, key=lambda p: p.start_s)


def stretches(found: list[Piece]) -> list[list[Piece]]:
    """Return the pieces in groups that follow each other without a pause."""
    groups: list[list[Piece]] = []
    for piece in found:
        last = groups[-1][-1] if groups else None
        if (
            last is not None
            and abs(piece.start_s - last.end_s) < 0.01
            and piece.sample_rate_hz == last.sample_rate_hz
        ):
            groups[-1].append(piece)
        else:
            groups.append([piece])
    return groups


class LiveSound:
    """The writer of one run's sound.

    Args:
        folder: the bench.
        run_id: the run.
        sample_rate_hz: of the sound.
        start_s: time of the first sample in the run.
        keep: keep everything, or drop what is counted.
    """

    def __init__(
        self, folder: Path, run_id: str, sample_rate_hz: int, start_s: float, keep: bool
    ) -> None:
        """Open nothing yet."""
        self._folder, self._run, self._rate = folder, run_id, sample_rate_hz
        self._start_s, self._keep = start_s, keep
        self._samples = 0
        self._in_piece = 0
        self._stream: BinaryIO | None = None
        self._synced = time.monotonic()

    def append(self, samples: NDArray[np.float32]) -> None:
        """Take the next samples; on the disk within :data:`SYNC_S`.

        Raises:
            UserError: if the disk refuses.
        """
        whole = (np.clip(samples, -1.0, 1.0 - 2.0**-15) * 32768.0).astype("<i2")
        with plainly(self._folder):
            if self._stream is None or self._in_piece >= PIECE_S * self._rate:
                self._next_piece()
            assert self._stream is not None
            self._stream.write(whole.tobytes())
            if time.monotonic() - self._synced >= SYNC_S:
                self._sync()
        self._samples += samples.size
        self._in_piece += samples.size

    def _sync(self) -> None:
        if self._stream is not None:
            self._stream.flush()
            os.fsync(self._stream.fileno())
        self._synced = time.monotonic()

    def _next_piece(self) -> None:
        self.close()
        start_ms = round(1000.0 * (self._start_s + self._samples / self._rate))
        name = f"{self._run}-live-{start_ms:012d}.wav"
        self._stream = (self._folder / "recordings" / name).open("wb")
        self._stream.write(_head(self._rate))
        self._in_piece = 0

    def release(self, certain_s: float) -> None:
        """Drop the pieces that are counted, unless all are to be kept."""
        if self._keep:
            return
        for piece in pieces(self._folder, self._run)[:-1]:
            if piece.end_s < certain_s - BEHIND_S:
                with plainly(piece.path):
                    piece.path.unlink(missing_ok=True)

    def close(self) -> None:
        """Bring everything to the disk."""
        if self._stream is not None:
            with plainly(self._folder):
                self._sync()
                self._stream.close()
            self._stream = None


def discard(folder: Path, run_id: str) -> None:
    """Delete the pieces of a run."""
    for piece in pieces(folder, run_id):
        with plainly(piece.path):
            piece.path.unlink(missing_ok=True)


def _head(rate: int) -> bytes:
    """Return the head of a WAV file whose length is not known yet."""
    most = 0xFFFFFFFF
    return _HEAD.pack(
        b"RIFF", most, b"WAVE", b"fmt ", 16, 1, 1, rate, 2 * rate, 2, 16, b"data", most
    )
