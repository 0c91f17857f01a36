"""Photographs without what a camera writes into them: place, time, serial numbers, thumbnails.

Only the orientation survives, so that a picture is not shown lying on its side. The picture
itself is copied bit for bit.
"""

from __future__ import annotations

import struct

from counterproof.errors import UserError
from counterproof.texts import text

_PNG = b"\x89PNG\r\n\x1a\n"
_PNG_KEPT = {b"IHDR", b"PLTE", b"IDAT", b"IEND", b"tRNS", b"gAMA", b"cHRM", b"sRGB", b"sBIT"}


def without_metadata(content: bytes, name: str) -> tuple[bytes, str]:
    """Return a photograph without metadata, and its file suffix.

    Raises:
        UserError: if it is neither JPEG nor PNG, or is cut off.
    """
    try:
        if content.startswith(b"\xff\xd8"):
            return _jpeg(content), ".jpg"
        if content.startswith(_PNG):
            return _png(content), ".png"
    except (struct.error, IndexError, ValueError):
        raise UserError(text("bench.photo_damaged", name=name)) from None
    raise UserError(text("bench.photo_kind", name=name))


def _jpeg(content: bytes) -> bytes:
    """Drop application segments (but the first one, which gives the pixel's shape) and comments."""
    kept = [content[:2]]
    at = 2
    while True:
        if content[at] != 0xFF:
            raise ValueError("no marker")
        marker = content[at + 1]
        (size,) = struct.unpack_from(">H", content, at + 2)
        segment = content[at : at + 2 + size]
        if len(segment) < 2 + size:
            raise ValueError("cut off")
        at += 2 + size
        if marker == 0xE1 and segment[4:10] == b"Exif\0\0":
            orientation = _orientation(segment[10:])
            if orientation > 1:
                kept.append(_orientation_segment(orientation))
        elif marker in (0xE0, 0xEE, 0xE2) or not (0xE0 <= marker <= 0xEF or marker == 0xFE):
            kept.append(segment)
        if marker == 0xDA:  # the picture itself follows, up to the end mark
            end = content.rfind(b"\xff\xd9")
            if end < at:
                raise ValueError("cut off")
            return b"".join((*kept, content[at : end + 2]))


def _orientation(tiff: bytes) -> int:
    order = "<" if tiff[:2] == b"II" else ">"
    (start,) = struct.unpack_from(order + "I", tiff, 4)
    (entries,) = struct.unpack_from(order + "H", tiff, start)
    for i in range(entries):
        tag, _, _, value = struct.unpack_from(order + "HHIH", tiff, start + 2 + 12 * i)
        if tag == 0x0112:
            return int(value) if 1 <= value <= 8 else 1
    return 1


def _orientation_segment(orientation: int) -> bytes:
    tiff = struct.pack(">2sHIHHHIHHI", b"MM", 42, 8, 1, 0x0112, 3, 1, orientation, 0, 0)
    body = b"Exif\0\0" + tiff
    return struct.pack(">HH", 0xFFE1, len(body) + 2) + body


def _png(content: bytes) -> bytes:
    kept = [_PNG]
    at = len(_PNG)
    while True:
        size, kind = struct.unpack_from(">I4s", content, at)
        chunk = content[at : at + 12 + size]
        if len(chunk) < 12 + size:
            raise ValueError("cut off")
        if kind in _PNG_KEPT:
            kept.append(chunk)
        at += 12 + size
        if kind == b"IEND":
            return b"".join(kept)
