"""The blocks of a pulse file, packed and unpacked: the format of ``docs/formats.md``, version 1.

Pure functions over bytes; :mod:`counterproof.signals.pulsefile` is what others call.
"""

from __future__ import annotations

import json
import struct
import zlib
from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import numpy as np
import zstandard
from numpy.typing import NDArray

from counterproof.errors import UserError
from counterproof.texts import text

MAGIC = b"\x93CPPULSE"
VERSION = 1
_FILE_HEAD = struct.Struct("<8sHII")  # magic, version, ticks per second, length of the notes
_BLOCK = struct.Struct("<4sBBHIIqqI")  # marker, kind, width, 0, n, length, start, until, body CRC
_CRC = struct.Struct("<I")
_MARK = b"CPBK"
PULSES, GAP, NOTES = 1, 2, 3
MAX_TICKS = 1 << 53  # times stay exact as float64
_MOST_PULSES = 1 << 24  # in one block: a forged count must not fill the memory
_LEVEL = 3


@dataclass(frozen=True)
class Block:
    """One complete block as it lies in the file; times in ticks."""

    kind: int
    width: int
    count: int
    start: int
    until: int
    body: memoryview
    sound: bool  # the body's checksum holds
    at: int  # offset of its first byte
    end: int  # offset of the byte after its last


def file_head(ticks_per_s: int, notes: Mapping[str, Any]) -> bytes:
    """Return the head of a file with its notes and checksum."""
    packed = json.dumps(dict(notes), ensure_ascii=False, sort_keys=True).encode()
    head = _FILE_HEAD.pack(MAGIC, VERSION, ticks_per_s, len(packed)) + packed
    return head + _CRC.pack(zlib.crc32(head))


def pack_block(
    kind: int, start: int, until: int, width: int = 0, n: int = 0, body: bytes = b""
) -> bytes:
    """Return a block of any kind around a finished body."""
    head = _BLOCK.pack(_MARK, kind, width, 0, n, len(body), start, until, zlib.crc32(body))
    return head + _CRC.pack(zlib.crc32(head)) + body


def pulse_block(ticks: NDArray[np.int64], start: int, until: int) -> bytes:
    """Return a block with the ascending ``ticks``, all within ``start`` … ``until``."""
    if not ticks.size:
        return pack_block(PULSES, start, until)
    deltas = np.diff(ticks, prepend=start)
    largest = int(deltas.max())
    width = next(w for w in (1, 2, 4, 8) if largest < 1 << (8 * w))
    narrow = deltas.astype(f"<u{width}")
    shuffled = np.ascontiguousarray(narrow.view(np.uint8).reshape(-1, width).T)
    body = zstandard.ZstdCompressor(level=_LEVEL).compress(shuffled.data)
    return pack_block(PULSES, start, until, width, ticks.size, body)


def ticks_of(block: Block) -> NDArray[np.int64] | None:
    """Unpack a pulse block; ``None`` if it contradicts itself."""
    if not block.count:
        return np.empty(0, np.int64)
    size = block.count * block.width
    try:
        # asked first, so that a forged body cannot unpack into all of the memory
        if zstandard.frame_content_size(block.body) != size:
            return None
        raw = zstandard.ZstdDecompressor().decompress(block.body)
    except zstandard.ZstdError:
        return None
    if len(raw) != size:
        return None
    planes = np.frombuffer(raw, np.uint8).reshape(block.width, block.count)
    narrow = np.ascontiguousarray(planes.T).view(f"<u{block.width}").ravel()
    ticks = np.cumsum(narrow, dtype=np.int64)
    ticks += block.start
    if ticks[0] < block.start or ticks[-1] > block.until or int(narrow.max()) > MAX_TICKS:
        return None
    return ticks


def read_file_head(path: Path, data: memoryview) -> tuple[int, dict[str, Any], int]:
    """Return ticks per second, notes and the offset of the first block."""
    if not len(data):
        raise UserError(text("signals.empty_file", path=path))
    if len(data) < _FILE_HEAD.size or data[: len(MAGIC)] != MAGIC:
        raise UserError(text("signals.not_a_pulse_file", path=path))
    _, version, ticks_per_s, length = _FILE_HEAD.unpack_from(data)
    if version > VERSION:
        raise UserError(text("signals.newer_pulse_file", path=path, version=version))
    end = _FILE_HEAD.size + length
    try:
        if _CRC.unpack_from(data, end)[0] != zlib.crc32(data[:end]) or not ticks_per_s:
            raise ValueError
        notes = json.loads(bytes(data[_FILE_HEAD.size : end]))
        if not isinstance(notes, dict):
            raise TypeError
    except (struct.error, ValueError, TypeError, RecursionError):
        raise UserError(text("signals.pulse_head_damaged", path=path)) from None
    return ticks_per_s, notes, end + _CRC.size


def read_blocks(data: memoryview, at: int) -> Iterator[Block]:
    """Yield the complete blocks from ``at`` on, finding the next one after a damaged head."""
    raw: bytes | None = None
    while at + _BLOCK.size + _CRC.size <= len(data):
        head_end = at + _BLOCK.size
        mark, kind, width, _, count, length, start, until, check = _BLOCK.unpack_from(data, at)
        body_at = head_end + _CRC.size
        good = mark == _MARK and _CRC.unpack_from(data, head_end)[0] == zlib.crc32(
            data[at:head_end]
        )
        good = good and 0 <= start <= until <= MAX_TICKS and body_at + length <= len(data)
        good = good and (kind != PULSES or width in (1, 2, 4, 8) or not count)
        good = good and count <= _MOST_PULSES
        if good:
            body = data[body_at : body_at + length]
            end = body_at + length
            yield Block(kind, width, count, start, until, body, zlib.crc32(body) == check, at, end)
            at = end
            continue
        raw = bytes(data) if raw is None else raw
        at = raw.find(_MARK, at + 1)
        if at < 0:
            return
