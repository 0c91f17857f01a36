"""Files that FFmpeg opens (PyAV): what the readers of sound and of pictures do alike.

PyAV is imported only when a file is opened.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator
from contextlib import suppress
from pathlib import Path
from typing import TYPE_CHECKING, Any

from counterproof.errors import UserError
from counterproof.signals.sniff import Kind
from counterproof.texts import text

if TYPE_CHECKING:
    import av


def open_container(path: Path, kind: Kind) -> av.container.InputContainer:
    """Open a file as what its content says it is.

    Raises:
        UserError: if FFmpeg cannot open it.
    """
    import av

    try:
        # the demuxer is named so that FFmpeg never guesses at a playlist or a script
        return av.open(str(path), format=kind.demuxer, metadata_errors="replace")
    except (av.FFmpegError, ValueError, OSError):
        key = "index_missing" if kind.demuxer == "mov" else "cannot_open"
        raise UserError(text(f"signals.{key}", path=path, kind=kind.name)) from None


def codec_name(stream: av.AudioStream | av.VideoStream) -> str | None:
    """Return the name of a stream's codec, ``None`` for one that FFmpeg does not know."""
    with suppress(AttributeError, RuntimeError, ValueError):
        return stream.codec_context.name or None
    return None


def stated_duration_s(
    container: av.container.InputContainer, stream: av.AudioStream | av.VideoStream
) -> float | None:
    """Return the length that a stream, or else its file, states; ``None`` where none does."""
    if stream.duration is not None and stream.time_base is not None:
        return float(stream.duration * stream.time_base)
    return None if container.duration is None else container.duration / 1e6


def decoded(
    container: av.container.InputContainer,
    stream: av.AudioStream | av.VideoStream,
    damaged: Callable[[], None],
) -> Iterator[Any]:
    """Yield a stream's frames; what cannot be decoded is left out.

    Args:
        container: the file.
        stream: one of its streams.
        damaged: called whenever something was left out.
    """
    import av

    try:
        for packet in container.demux(stream):
            try:
                yield from packet.decode()
            except av.FFmpegError:
                damaged()
    except (av.FFmpegError, OSError):
        damaged()
