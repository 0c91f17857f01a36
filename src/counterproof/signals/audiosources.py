"""The two decoders behind :mod:`counterproof.signals.audio`.

Uncompressed files go to libsndfile (soundfile); compressed ones and videos to FFmpeg (PyAV), whose
packets carry times, so that a missing stretch is seen. libsndfile closes such a gap silently: see
``docs/decisions``.
"""

from __future__ import annotations

from collections.abc import Iterator
from contextlib import suppress
from datetime import datetime
from pathlib import Path
from typing import TYPE_CHECKING, Protocol

import numpy as np
from numpy.typing import NDArray

from counterproof.errors import UserError
from counterproof.signals.container import (
    codec_name,
    decoded,
    open_container,
    stated_duration_s,
)
from counterproof.signals.sniff import Kind, read_head, wav_promise
from counterproof.texts import text

if TYPE_CHECKING:
    import av

Frames = NDArray[np.float32]

_READ_FRAMES = 32768
_JITTER_S = 0.003
"""Timestamps in Matroska are rounded to 1 ms, so a difference below this is no gap. The shortest
packet of the codecs in use is 2.5 ms (Opus), the usual ones are 20 ms and more."""
_VORBIS_JITTER = 2048
"""Vorbis packets are of two lengths and FFmpeg's times inside a page are off by up to a quarter of
their difference (seen: 448 samples); what is lost is whole pages, some tenths of a second."""
_MAX_GAP_S = 3600.0
"""A larger jump is a wrong timestamp, not a missing stretch, where the length is not stated."""
_UNTIMED = frozenset({"mp3", "aac", "amr"})
"""Bare streams: FFmpeg counts their frames, so that lost ones leave no trace in the times."""


class Source(Protocol):
    """What a decoder offers to :class:`counterproof.signals.audio.Recording`."""

    codec: str
    sample_rate_hz: int
    channels: int
    duration_s: float | None
    started: datetime | None
    warnings: list[str]
    damaged: bool
    timed: bool
    """The container carries times, so that what follows a damage keeps its place."""

    def chunks(self) -> Iterator[tuple[int, Frames]]:
        """Yield (missing samples before this chunk, frames of shape (n,) or (n, channels))."""
        ...

    def close(self) -> None:
        """Close the file."""
        ...


def open_source(path: Path, kind: Kind) -> Source:
    """Open ``path`` with the decoder for its kind.

    Raises:
        UserError: if no decoder can make sound of it.
    """
    if not kind.plain:
        return PackedSource(path, kind)
    header = wav_promise(path)
    if header.present_bytes and header.promised_bytes is None and kind.name == "WAV":
        return PackedSource(path, kind, unfinished=True, started=header.started)
    import soundfile

    try:
        return PlainSource(path)
    except soundfile.SoundFileError:
        if header.promised_bytes == 0 or path.stat().st_size < 64:
            raise UserError(text("signals.header_only", path=path)) from None
        return PackedSource(path, kind, started=header.started)


class PlainSource:
    """Uncompressed sound through libsndfile."""

    def __init__(self, path: Path) -> None:
        """Open; refuse what has no samples."""
        import soundfile

        self._path = path
        self._file = soundfile.SoundFile(str(path))
        self.codec = str(self._file.subtype).lower()
        self.sample_rate_hz = int(self._file.samplerate)
        self.channels = int(self._file.channels)
        self.warnings: list[str] = []
        self.damaged = False
        self.timed = True
        frames = int(self._file.frames)
        header = wav_promise(path)
        self.started = header.started
        if frames == 0:
            self._file.close()
            raise UserError(text("signals.header_only", path=path))
        if header.promised_bytes and header.present_bytes:
            # libsndfile counts what is there; the header says what should have been
            share = header.promised_bytes / min(header.present_bytes, header.promised_bytes)
            self.duration_s: float | None = frames * share / self.sample_rate_hz
        else:
            self.duration_s = frames / self.sample_rate_hz

    def chunks(self) -> Iterator[tuple[int, Frames]]:
        """Yield the frames as they lie in the file; there are no gaps in a plain file."""
        import soundfile

        size = max(1024, _READ_FRAMES // self.channels)
        while True:
            try:
                frames = self._file.read(size, dtype="float32", always_2d=True)
            except (soundfile.SoundFileError, OSError):
                self.damaged = True
                return
            if not len(frames):
                return
            yield 0, frames

    def close(self) -> None:
        """Close the file."""
        self._file.close()


class PackedSource:
    """Compressed sound, or the sound of a video, through FFmpeg."""

    def __init__(
        self,
        path: Path,
        kind: Kind,
        *,
        unfinished: bool = False,
        started: datetime | None = None,
    ) -> None:
        """Open; refuse what has no sound that can be decoded."""
        self._path = path
        self.timed = kind.demuxer not in _UNTIMED
        self.warnings: list[str] = []
        self.damaged = False
        if unfinished:
            self.warnings.append(text("signals.unfinished", path=path))
        self._container = open_container(path, kind)
        try:
            self._stream = self._first_sound()
            context = self._stream.codec_context
            self.codec = str(context.name)
            self.sample_rate_hz = int(context.sample_rate or 0)
            self.channels = int(context.channels or 0)
            if not self.sample_rate_hz or not self.channels:
                raise UserError(text("signals.cannot_open", path=path, kind=kind.name))
        except BaseException:
            self._container.close()
            raise
        self.duration_s = self._stated_duration()
        self.started = started or _creation_time(self._container.metadata)

    def _first_sound(self) -> av.AudioStream:
        container, path = self._container, self._path
        if not container.streams.audio:
            key = "video_without_sound" if container.streams.video else "no_sound"
            raise UserError(text(f"signals.{key}", path=path))
        stream = container.streams.audio[0]
        if codec_name(stream) is None:
            raise UserError(text("signals.unknown_codec", path=path))
        return stream

    def _stated_duration(self) -> float | None:
        if not self.timed:
            # without a header FFmpeg estimates from the bit rate, which is no statement
            head = read_head(self._path)
            if not any(mark in head for mark in (b"Xing", b"Info", b"VBRI")):
                return None
        return stated_duration_s(self._container, self._stream)

    def chunks(self) -> Iterator[tuple[int, Frames]]:
        """Yield decoded frames with the samples missing before each, by the packets' times."""
        rate = self.sample_rate_hz
        jitter = _VORBIS_JITTER / rate if self.codec == "vorbis" else _JITTER_S
        origin: float | None = None
        position = 0  # samples since the first one, gaps included
        for frame in decoded(self._container, self._stream, self._note_damage):
            if frame.sample_rate != rate or len(frame.layout.channels) != self.channels:
                raise UserError(text("signals.format_changes", path=self._path))
            gap = 0
            now = frame.time
            if now is not None:
                if origin is None:
                    origin = now - position / rate
                ahead = now - origin - position / rate
                if jitter < ahead <= self._longest_gap_s(position / rate):
                    gap = round(ahead * rate)
                elif abs(ahead) > jitter:
                    # time steps back or leaps ahead: keep the samples and count on from here
                    self.damaged = True
                    origin += ahead
            frames = _as_float(frame)
            position += gap + len(frames)
            yield gap, frames

    def _longest_gap_s(self, now_s: float) -> float:
        return _MAX_GAP_S if self.duration_s is None else self.duration_s - now_s + 1.0

    def _note_damage(self) -> None:
        self.damaged = True

    def close(self) -> None:
        """Close the file."""
        self._container.close()


def _as_float(frame: av.AudioFrame) -> Frames:
    samples = frame.to_ndarray()
    channels = len(frame.layout.channels)
    samples = samples.T if frame.format.is_planar else samples.reshape(-1, channels)
    kind = samples.dtype
    if kind == np.uint8:
        return (samples.astype(np.float32) - 128) / np.float32(128)
    if kind.kind == "i":
        return samples.astype(np.float32) / np.float32(2.0 ** (8 * kind.itemsize - 1))
    with np.errstate(over="ignore"):
        return samples.astype(np.float32, copy=False)


def _creation_time(metadata: dict[str, str]) -> datetime | None:
    stamp = metadata.get("creation_time")
    if stamp is None:
        return None
    with suppress(ValueError):
        moment = datetime.fromisoformat(stamp)
        if moment.tzinfo is not None and moment.year > 1970:
            return moment
    return None
