"""What a file is by its content, never by its name.

:func:`recognise` looks at the first bytes of a file and answers with the kind of recording, or
says in one sentence why the file is none. :func:`wav_promise` reads how many bytes of sound a WAV
header promises, so that a recording that was cut short is noticed.

Signatures: RIFF/WAVE, RF64 (EBU Tech 3306), FLAC (RFC 9639), Ogg (RFC 3533), Matroska/WebM
(RFC 8794, RFC 9559), ISO base media (ISO/IEC 14496-12), MPEG audio (ISO/IEC 11172-3), ADTS
(ISO/IEC 13818-7), AMR (RFC 4867).
"""

from __future__ import annotations

import struct
from dataclasses import dataclass
from datetime import datetime
from pathlib import Path

from counterproof.errors import UserError
from counterproof.texts import text

HEAD_BYTES = 1 << 16
"""How much of a file's start is looked at."""

_TEXT_CONTROLS = frozenset(b"\t\n\r\x0c\x1b")


@dataclass(frozen=True)
class Kind:
    """What a file's first bytes say it is.

    Args:
        name: how people call it, such as ``"WAV"``.
        demuxer: the name that FFmpeg gives the container.
        plain: uncompressed sound that libsndfile reads sample by sample.
    """

    name: str
    demuxer: str
    plain: bool = False


def read_head(path: Path) -> bytes:
    """Return the first bytes of ``path``.

    Raises:
        UserError: if there is no such file, it may not be read, is a folder or is empty.
    """
    try:
        if path.is_dir():
            raise UserError(text("signals.is_directory", path=path))
        with path.open("rb") as stream:
            head = stream.read(HEAD_BYTES)
    except FileNotFoundError:
        raise UserError(text("signals.not_found", path=path)) from None
    except PermissionError:
        raise UserError(text("signals.not_readable", path=path)) from None
    except (OSError, ValueError) as fault:  # ValueError: a null byte in the name
        raise UserError(text("signals.read_failed", path=path, reason=fault)) from None
    if not head:
        raise UserError(text("signals.empty_file", path=path))
    return head


def looks_like_text(head: bytes) -> bool:
    """Say whether ``head`` is readable text in a common encoding (UTF-8, UTF-16, Latin)."""
    if head[:2] in (b"\xff\xfe", b"\xfe\xff") or head[:3] == b"\xef\xbb\xbf":
        return True
    sample = head[:4096]
    controls = sum(byte < 32 and byte not in _TEXT_CONTROLS for byte in sample)
    return controls == 0


def recognise_head(head: bytes) -> Kind | None:
    """Say what kind of recording begins with ``head``; ``None`` if none that we know."""
    form = head[8:12]
    if head[:4] in (b"RIFF", b"RIFX", b"RF64", b"BW64") and form == b"WAVE":
        return Kind("WAV", "wav", plain=True)
    if head[:4] == b"RIFF" and form == b"AVI ":
        return Kind("AVI", "avi")
    if head[:4] == b"FORM" and form in (b"AIFF", b"AIFC"):
        return Kind("AIFF", "aiff", plain=True)
    if head[:4] == b".snd":
        return Kind("AU", "au", plain=True)
    if head[:4] == b"caff":
        return Kind("CAF", "caf", plain=True)
    if head[:16] == b"riff\x2e\x91\xcf\x11\xa5\xd6\x28\xdb\x04\xc1\x00\x00":
        return Kind("W64", "w64", plain=True)
    if head[:4] == b"fLaC":
        return Kind("FLAC", "flac")
    if head[:4] == b"OggS":
        return Kind("Ogg", "ogg")
    if head[:4] == b"\x1a\x45\xdf\xa3":
        return Kind("Matroska/WebM", "matroska")
    if head[4:8] in (b"ftyp", b"moov", b"mdat", b"wide", b"free", b"skip", b"pnot"):
        return Kind("MP4/MOV", "mov")
    if head[:5] == b"#!AMR":
        return Kind("AMR", "amr")
    if head[:16] == b"\x30\x26\xb2\x75\x8e\x66\xcf\x11\xa6\xd9\x00\xaa\x00\x62\xce\x6c":
        return Kind("ASF", "asf")
    if head[:3] == b"ID3":
        return Kind("MP3", "mp3")
    if len(head) > 2 and head[0] == 0xFF and head[1] & 0xF6 == 0xF0:
        return Kind("AAC", "aac")
    if len(head) > 2 and head[0] == 0xFF and head[1] & 0xE6 == 0xE2 and head[2] & 0xF0 != 0xF0:
        return Kind("MP3", "mp3")
    return None


def recognise(path: Path) -> Kind:
    """Say what kind of recording ``path`` holds, by its content.

    Raises:
        UserError: if it cannot be read, is empty, is text, or is no recording that we know.
    """
    head = read_head(path)
    kind = recognise_head(head)
    if kind is not None:
        return kind
    if not any(head):
        raise UserError(text("signals.all_zero", path=path))
    if looks_like_text(head):
        raise UserError(text("signals.text_not_sound", path=path))
    raise UserError(text("signals.not_a_recording", path=path))


@dataclass(frozen=True)
class WavHeader:
    """What a WAV header says beside the format.

    Args:
        promised_bytes: length of the sound that the header promises; ``None`` when left open, as
            by a recorder that was killed or that wrote into a pipe.
        present_bytes: bytes that follow the header in the file; 0 where no sound chunk was found.
        started: the recorder's own clock at the start (EBU Tech 3285 ``bext``), without a zone.
    """

    promised_bytes: int | None
    present_bytes: int
    started: datetime | None = None


def wav_promise(path: Path) -> WavHeader:
    """Read how much sound a RIFF or RF64 header promises and how much there is.

    Other containers give ``WavHeader(None, 0)``.
    """
    size = path.stat().st_size
    started: datetime | None = None
    with path.open("rb") as stream:
        start = stream.read(12)
        if len(start) < 12 or start[:4] not in (b"RIFF", b"RF64", b"BW64", b"RIFX"):
            return WavHeader(None, 0)
        order = ">" if start[:4] == b"RIFX" else "<"
        long_size: int | None = None
        for _ in range(1000):  # a header of more chunks than this is junk
            head = stream.read(8)
            if len(head) < 8:
                break
            name, length = head[:4], struct.unpack(order + "I", head[4:])[0]
            if name == b"data":
                open_end = length in (0, 0xFFFFFFFF)
                promised = long_size if open_end and long_size else None if open_end else length
                return WavHeader(promised, size - stream.tell(), started)
            body_at = stream.tell()
            if name == b"ds64":
                body = stream.read(24)
                long_size = struct.unpack("<Q", body[8:16])[0] if len(body) >= 16 else None
            elif name == b"bext":
                started = _bext_start(stream.read(min(length, 602)))
            stream.seek(body_at + length + length % 2)
    return WavHeader(None, 0, started)


def _bext_start(body: bytes) -> datetime | None:
    stamp = body[320:338].decode("ascii", "replace")
    if len(stamp) < 18:
        return None
    try:
        return datetime.fromisoformat(f"{stamp[:10]}T{stamp[10:18].replace('-', ':')}")
    except ValueError:
        return None
