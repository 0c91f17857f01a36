"""Recordings as a stream of sound: WAV, FLAC, Ogg, MP3 and the sound of a phone's video.

:func:`open_audio` looks at the content, never at the name, and gives a :class:`Recording` whose
:meth:`~Recording.blocks` yields one channel of float32 samples. Sample ``i`` (counted over all
blocks) was heard ``i / sample_rate_hz`` seconds after the recording's first sample: stretches that
are missing from the file come as silence and are listed in :attr:`Recording.gaps_s`. Memory does
not grow with the recording's length.
"""

from __future__ import annotations

from collections.abc import Iterator
from datetime import datetime
from pathlib import Path

import numpy as np
from numpy.typing import NDArray

from counterproof.errors import UserError
from counterproof.progress import Report, silent, step
from counterproof.signals.audiosources import Source, open_source
from counterproof.signals.closing import Closing
from counterproof.signals.runs import runs
from counterproof.signals.sniff import Kind, recognise
from counterproof.texts import text

Samples = NDArray[np.float32]

BLOCK_FRAMES = 65536
"""Samples per block unless asked otherwise: 1.4 s at 48 kHz, 256 kB."""


class Recording(Closing):
    """One recording, opened; read once from start to end. Made by :func:`open_audio`.

    Attributes:
        path: the file.
        container: kind of file, such as ``"WAV"`` or ``"MP4/MOV"``.
        codec: how the sound is packed, such as ``"pcm_16"`` or ``"aac"``.
        sample_rate_hz: samples per second.
        channels: channels in the file (one is delivered).
        channel: the channel picked, counted from 0; ``None`` for the mean of all.
        duration_s: length in seconds as the file states it, after the last block as read;
            ``None`` while unknown.
        started: when it was recorded, if the file says so: with a zone where the file gives UTC,
            without one where it gives the recorder's own clock.
        warnings: sentences that the reader of a result must see; complete after the last block.
    """

    def __init__(
        self, path: Path, kind: Kind, source: Source, channel: int | None, block_frames: int
    ) -> None:
        """Take over an open source; use :func:`open_audio`."""
        self.path = path
        self.container = kind.name
        self.codec = source.codec
        self.sample_rate_hz = source.sample_rate_hz
        self.channels = source.channels
        self.channel = channel
        self.duration_s = source.duration_s
        self.started: datetime | None = source.started
        self.warnings: list[str] = list(source.warnings)
        self._source = source
        self._block_frames = block_frames
        self._gaps: list[tuple[float, float]] = []
        self._begun = False

    @property
    def gaps_s(self) -> NDArray[np.float64]:
        """Stretches (start, end) without sound, shape (m, 2), seconds from the first sample."""
        return np.array(self._gaps, dtype=np.float64).reshape(-1, 2)

    def blocks(self, report: Report = silent) -> Iterator[Samples]:
        """Yield the sound as float32 blocks of equal length (the last may be shorter).

        Args:
            report: asked between blocks with samples done and samples expected (0 if unknown).

        Raises:
            UserError: if there is no sound in it or none of it can be decoded.
            Cancelled: if ``report`` answers ``False``.
        """
        if self._begun:
            raise RuntimeError("a recording is read once: open it again")
        self._begun = True
        total = round((self.duration_s or 0.0) * self.sample_rate_hz)
        done = heard = broken = 0
        for raw in self._reblocked():
            bad = ~np.isfinite(raw)
            if bad.any():
                raw = np.where(bad, np.float32(0), raw)
                broken += int(bad.sum())
                self._note_bad(bad, done)
            done += raw.size
            heard += int(raw.size - bad.sum())
            step(report, done, max(total, done) if total else 0)
            yield raw
        self._close_books(done, heard, broken)

    def read(self, report: Report = silent) -> Samples:
        """Return the whole recording as one array (a 3-hour one takes 2 GB: prefer blocks)."""
        return np.concatenate(list(self.blocks(report)))

    def close(self) -> None:
        """Close the file."""
        self._source.close()

    def _pick(self, frames: Samples) -> Samples:
        if frames.ndim == 1:
            return frames
        if self.channel is not None:
            return np.ascontiguousarray(frames[:, self.channel])
        if frames.shape[1] == 1:
            return np.ascontiguousarray(frames[:, 0])
        with np.errstate(invalid="ignore", over="ignore"):  # NaN and inf are dealt with later
            return np.asarray(frames.mean(axis=1, dtype=np.float32))

    def _reblocked(self) -> Iterator[Samples]:
        size = self._block_frames
        held: list[Samples] = []
        count = position = 0
        for gap, frames in self._source.chunks():
            if gap:
                rate = self.sample_rate_hz
                self._gaps.append((position / rate, (position + gap) / rate))
            for mono in (*_silence(gap, size), self._pick(frames)):
                held.append(mono)
                count += mono.size
                position += mono.size
                if count >= size:
                    joined = np.concatenate(held)
                    whole = count - count % size
                    for at in range(0, whole, size):
                        yield joined[at : at + size]
                    held = [joined[whole:].copy()]
                    count -= whole
        if count:
            yield np.concatenate(held)

    def _note_bad(self, bad: NDArray[np.bool_], done: int) -> None:
        rate = self.sample_rate_hz
        for start, end in runs(bad) + done:
            if self._gaps and self._gaps[-1][1] >= start / rate - 1e-3:
                self._gaps[-1] = (self._gaps[-1][0], end / rate)
            else:
                self._gaps.append((start / rate, end / rate))

    def _close_books(self, done: int, heard: int, broken: int) -> None:
        path, rate = self.path, self.sample_rate_hz
        self.warnings = list(self._source.warnings)
        stated = self._source.duration_s
        if not done:
            key = "no_samples" if not self._source.damaged else "nothing_decodes"
            raise UserError(text(f"signals.{key}", path=path))
        if not heard:
            raise UserError(text("signals.only_nan", path=path))
        if broken:
            self.warnings.append(text("signals.nan_samples", path=path, count=broken))
        missing = [(a, b) for a, b in self._gaps if b - a > 1e-3]
        if missing:
            lost = sum(b - a for a, b in missing)
            self.warnings.append(
                text("signals.gaps", path=path, count=len(missing), lost=lost, first=missing[0][0])
            )
        if self._source.damaged and not (missing and self._source.timed):
            self.warnings.append(text("signals.damaged", path=path))
        if stated is not None and done / rate < stated - max(0.1, 0.002 * stated):
            self.warnings.append(
                text("signals.truncated", path=path, stated=stated, found=done / rate)
            )
        self.duration_s = done / rate


def _silence(frames: int, block: int) -> Iterator[Samples]:
    while frames > 0:
        yield np.zeros(min(frames, block), dtype=np.float32)
        frames -= block


def open_audio(
    path: str | Path, *, channel: int | None = None, block_frames: int = BLOCK_FRAMES
) -> Recording:
    """Open a recording for streaming, whatever its container.

    Args:
        path: the file.
        channel: channel to deliver, counted from 0; ``None`` for the mean of all channels.
        block_frames: samples per block.

    Raises:
        UserError: if the file is missing, unreadable, a folder, empty, text, no recording, a
            video without sound, packed in a way that cannot be read, or has no such channel.
    """
    path = Path(path)
    kind = recognise(path)
    source = open_source(path, kind)
    try:
        if channel is not None and not 0 <= channel < source.channels:
            raise UserError(
                text("signals.no_channel", path=path, channel=channel + 1, count=source.channels)
            )
        if not 1000 <= source.sample_rate_hz <= 1_000_000:
            raise UserError(text("signals.odd_rate", path=path, rate=source.sample_rate_hz))
        return Recording(path, kind, source, channel, block_frames)
    except BaseException:
        source.close()
        raise
