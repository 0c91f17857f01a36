"""The sheet of stills to key: few that show most appearances, and the file of what was keyed.

Before anything is known, glyphs are grouped by likeness alone; stills are then taken one after
another, each the one that shows most groups not yet shown. A sheet is kept as three files of one
name: a picture to look at, a table (CSV) to key into, and the stills themselves.
"""

from __future__ import annotations

import csv
import io
import struct
import zipfile
import zlib
from collections.abc import Sequence
from dataclasses import dataclass, field
from pathlib import Path

import numpy as np
from numpy.typing import NDArray

from counterproof.errors import UserError
from counterproof.safefile import atomic_write
from counterproof.signals.sniff import read_head
from counterproof.signals.video.cut import CUTS, Cut, Glyph, cut_line
from counterproof.signals.video.formats import Format, tidy_key
from counterproof.signals.video.glyphs import Glyphs, distances, shifted, teach
from counterproof.signals.video.ink import unpacked
from counterproof.signals.video.scan import Look
from counterproof.signals.video.warp import Picture
from counterproof.texts import text

MOST = 14
"""Stills on a first sheet."""
_ALIKE = 0.4

# 3 × 5 figures for the numbers on the sheet
_FIGURES = {
    c: bits.split()
    for c, bits in {
        "0": "111 101 101 101 111",
        "1": "010 110 010 010 111",
        "2": "111 001 111 100 111",
        "3": "111 001 111 001 111",
        "4": "101 101 111 001 001",
        "5": "111 100 111 001 111",
        "6": "111 100 111 101 111",
        "7": "111 001 010 010 010",
        "8": "111 101 111 101 111",
        "9": "111 101 111 001 111",
    }.items()
}


@dataclass(eq=False)
class Still:
    """A still to key.

    Args:
        number: on the sheet, from 1.
        time_s: when it stood in the video.
        ink: the line's ink as bytes.
        typed: what a person keyed; ``""`` while nothing was.
        guess: what the program would read; ``""`` for no idea.
        why: why it is asked.
        seconds: how long stills like it stood.
        place: which of the display's numbers, from 0.
    """

    number: int
    time_s: float
    ink: NDArray[np.uint8]
    typed: str = ""
    guess: str = ""
    why: str = ""
    seconds: float = 0.0
    place: int = 0

    @property
    def line(self) -> Picture:
        """The ink, 1 for a stroke."""
        return unpacked(self.ink)

    def png(self, scale: int = 3) -> bytes:
        """Return the still as a picture, dark on light."""
        return png_bytes(np.repeat(np.repeat(_paper(self.ink), scale, 0), scale, 1))


@dataclass(eq=False)
class Sheet:
    """Stills to key, with what was keyed so far."""

    stills: list[Still] = field(default_factory=list)

    @property
    def open(self) -> list[Still]:
        """Stills that nobody keyed yet."""
        return [s for s in self.stills if not s.typed]

    @property
    def keyed(self) -> list[Still]:
        """Stills that were keyed."""
        return [s for s in self.stills if s.typed]

    def of(self, place: int) -> list[Still]:
        """Return the keyed stills of one of the display's numbers."""
        return [s for s in self.keyed if s.place == place]

    def glyphs(self, place: int = 0) -> Glyphs:
        """Learn the glyphs of one of the display's numbers from what was keyed."""
        return teach([(s.line, s.typed) for s in self.of(place)])

    def ask(self, stills: Sequence[Still]) -> None:
        """Put further stills on the sheet."""
        for still in stills:
            still.number = len(self.stills) + 1
            self.stills.append(still)

    def write(self, path: str | Path) -> tuple[Path, Path]:
        """Write table, stills and a picture of those still to key; return table and picture.

        Args:
            path: of the table; the others get the same name with ``.npz`` and ``.png``.

        Raises:
            UserError: if the folder cannot be written.
        """
        path = Path(path).with_suffix(".csv")
        held = io.BytesIO()
        np.savez_compressed(held, **{str(s.number): s.ink for s in self.stills})  # type: ignore[arg-type]
        with atomic_write(path.with_suffix(".npz")) as out:
            out.write(held.getvalue())
        table = io.StringIO()
        rows = csv.writer(table)
        rows.writerow(["number", "field", "time_s", "reading"])
        rows.writerows((s.number, s.place + 1, f"{s.time_s:.3f}", s.typed) for s in self.stills)
        with atomic_write(path) as out:
            out.write(table.getvalue().encode())
        picture = path.with_suffix(".png")
        with atomic_write(picture) as out:
            out.write(png_bytes(picture_of(self.open or self.stills)))
        return path, picture

    @classmethod
    def load(cls, path: str | Path) -> Sheet:
        """Read a sheet and what was keyed into its table.

        Raises:
            UserError: if a file is missing or is no sheet.
        """
        path = Path(path)
        read_head(path)
        stills = []
        try:
            with np.load(path.with_suffix(".npz"), allow_pickle=False) as held:
                inks = {int(name): held[name] for name in held.files}
            lines = path.read_text(encoding="utf-8-sig")
            mark = ";" if ";" in lines.splitlines()[0] else ","
            for row in csv.DictReader(io.StringIO(lines), delimiter=mark):
                number = int(row["number"])
                typed = tidy_key(row["reading"] or "")
                at = float(row["time_s"].replace(",", "."))
                place = int(row["field"]) - 1
                stills.append(Still(number, at, inks[number], typed, place=place))
        except (OSError, ValueError, KeyError, IndexError, zipfile.BadZipFile, csv.Error):
            raise UserError(text("video.no_sheet", path=path)) from None
        return cls(stills)


def first_sheet(looks: Sequence[Look], form: Format, most: int = MOST) -> Sheet:
    """Return the stills to key first, from the looks of one field.

    Args:
        looks: of the field.
        form: the declared format, to pass over what cannot be a number.
        most: stills at most.
    """
    steady = [k for k in looks if k.stills > 1] or list(looks)
    steady = steady[:: max(1, len(steady) // 1500)]
    how = _best_cut(steady, form)
    groups: list[tuple[NDArray[np.float32], float]] = []
    shown: list[set[int]] = []
    kept: list[Look] = []
    for look in steady:
        glyphs = cut_line(look.line, how)
        if not _plausible(glyphs, form):
            continue
        seen = set()
        for glyph in glyphs:
            offs = [float(distances(glyph.picture, ready)[0]) for ready, _ in groups]
            k = int(np.argmin(offs)) if offs else -1
            if k < 0 or offs[k] > _ALIKE:
                if len(groups) > 60:
                    continue
                groups.append((shifted(glyph.picture[None]), 0.0))
                k = len(groups) - 1
            groups[k] = (groups[k][0], groups[k][1] + look.stills)
            seen.add(k)
        shown.append(seen)
        kept.append(look)
    if not kept:
        return Sheet()
    total = sum(n for _, n in groups)
    worth = {k: n / total for k, (_, n) in enumerate(groups) if n > 0.001 * total}
    sheet, missing = Sheet(), set(worth)
    while missing and len(sheet.stills) < most:
        gain = [
            (sum(worth[k] ** 0.25 for k in seen & missing), look.stills)
            for seen, look in zip(shown, kept, strict=True)
        ]
        i = max(range(len(gain)), key=gain.__getitem__)
        if gain[i][0] <= 0:
            break
        missing -= shown[i]
        look = kept[i]
        sheet.ask([Still(0, look.middle_s, look.ink, why=text("video.why_new"))])
    return sheet


def _plausible(glyphs: Sequence[Glyph], form: Format) -> bool:
    """Say whether a cut line may be a number, its point perhaps one with a digit."""
    points = [g.is_low for g in glyphs]
    if form.could_be(points):
        return True
    least = min(n + d for n, d in form.forms)
    return not any(points) and least <= len(points) <= least + 4


def _best_cut(looks: Sequence[Look], form: Format) -> Cut:
    """Return the cut after which most looks could be numbers."""
    some = looks[:: max(1, len(looks) // 40)]
    best, most = CUTS[0], -1
    for how in CUTS:
        fit = sum(form.could_be([g.is_low for g in cut_line(k.line, how)]) for k in some)
        if fit > most:
            best, most = how, fit
        if fit == len(some):
            break
    return best


def _paper(ink: NDArray[np.uint8]) -> NDArray[np.uint8]:
    return np.asarray(255 - np.clip(ink.astype(np.int32) * 3 // 2, 0, 235), dtype=np.uint8)


def picture_of(stills: Sequence[Still], across: int = 4) -> NDArray[np.uint8]:
    """Return stills with their numbers as one picture, shape (rows, columns)."""
    scale = 2
    if not stills:
        return np.full((16, 16), 255, dtype=np.uint8)
    rows = max(s.ink.shape[0] for s in stills) * scale
    cols = max(s.ink.shape[1] for s in stills) * scale
    label, gap = 40, 10
    across = min(across, len(stills))
    down = -(-len(stills) // across)
    out = np.full((down * (rows + gap) + gap, across * (cols + label + gap) + gap), 255, np.uint8)
    for i, still in enumerate(stills):
        y = gap + (i // across) * (rows + gap)
        x = gap + (i % across) * (cols + label + gap)
        name = np.concatenate([_figure(c) for c in str(still.number)], axis=1)
        out[y + 4 : y + 4 + name.shape[0], x : x + name.shape[1]] = name
        picture = np.repeat(np.repeat(_paper(still.ink), scale, 0), scale, 1)
        out[y : y + picture.shape[0], x + label : x + label + picture.shape[1]] = picture
    return out


def _figure(char: str, scale: int = 4) -> NDArray[np.uint8]:
    bits = np.array([[int(b) for b in row] + [0] for row in _FIGURES[char]])
    return np.repeat(np.repeat(255 - 200 * bits, scale, 0), scale, 1).astype(np.uint8)


def png_bytes(picture: NDArray[np.uint8]) -> bytes:
    """Return a grey picture as PNG (ISO/IEC 15948)."""
    rows, cols = picture.shape

    def chunk(kind: bytes, data: bytes) -> bytes:
        check = zlib.crc32(kind + data)
        return struct.pack(">I", len(data)) + kind + data + struct.pack(">I", check)

    head = struct.pack(">IIBBBBB", cols, rows, 8, 0, 0, 0, 0)
    lines = np.concatenate([np.zeros((rows, 1), dtype=np.uint8), picture], axis=1)
    body = zlib.compress(lines.tobytes(), 6)
    signature = b"\x89PNG\r\n\x1a\n"
    return signature + chunk(b"IHDR", head) + chunk(b"IDAT", body) + chunk(b"IEND", b"")
