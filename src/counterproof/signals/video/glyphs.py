"""The glyphs of a display: learned from keyed stills, matched to new ones.

Two glyphs differ by the largest patch of ink, a stroke wide, that one has and the other lacks
(:func:`counterproof.signals.video.ink.difference`), at the best of a few small shifts. Equal glyphs
differ by noise and blur alone, unlike ones by at least a segment, a dot or a gap, in any typeface.
"""

from __future__ import annotations

import io
import zipfile
from collections.abc import Sequence
from dataclasses import dataclass, field, replace
from pathlib import Path

import numpy as np
from numpy.typing import NDArray
from scipy.ndimage import uniform_filter

from counterproof.errors import UserError
from counterproof.safefile import atomic_write
from counterproof.signals.video.cut import CUTS, HIGH, WIDE, Cut, Glyph, cut_line
from counterproof.signals.video.formats import tidy_key
from counterproof.signals.video.ink import STROKE, packed, unpacked
from counterproof.signals.video.warp import Picture
from counterproof.texts import text

_SHIFTS = [(dy, dx) for dy in (-1, 0, 1) for dx in (-2, -1, 0, 1, 2)]
_NEAR = 0.2
"""Samples of one character nearer than this become one."""
FAR = 0.42
"""No character is recognised beyond this difference."""
RATIO = 0.66
"""Nor unless it is nearer than this share of the next character's difference."""


@dataclass(frozen=True)
class Match:
    """What a glyph was taken for.

    Args:
        char: the nearest character; ``""`` if nothing is known.
        off: difference from it.
        next_off: difference from the nearest other character.
        other: that character.
    """

    char: str
    off: float
    next_off: float
    other: str = ""

    @property
    def sure(self) -> bool:
        """Whether it is near enough to one character and far enough from all others."""
        return self.off < FAR and self.off < RATIO * self.next_off

    @property
    def confidence(self) -> float:
        """Return how sure, 0…1: the margin to the next character over what separates the two."""
        if not self.char:
            return 0.0
        clear = 1.0 - self.off / max(self.next_off, 1e-6)
        near = 1.0 - self.off / (2.2 * FAR)
        return float(np.clip(1.0 - np.exp(-9.0 * max(min(clear, near), 0.0) ** 1.5), 0.0, 1.0))


@dataclass(eq=False)
class Glyphs:
    """What a display's characters look like.

    Args:
        chars: the character (or a digit with its point) of each sample.
        pictures: its ink, shape (n, HIGH, WIDE).
        weights: how many glyphs were averaged into each.
        cut: how lines of this display are cut.
        refused: what was keyed for stills that could not be used.
    """

    chars: list[str] = field(default_factory=list)
    pictures: NDArray[np.float32] = field(
        default_factory=lambda: np.empty((0, HIGH, WIDE), dtype=np.float32)
    )
    weights: list[int] = field(default_factory=list)
    cut: Cut = CUTS[0]
    refused: tuple[str, ...] = ()

    def __post_init__(self) -> None:
        """Prepare the comparison."""
        self._ready: NDArray[np.float32] | None = None

    @property
    def digits(self) -> str:
        """The digits that are known, in order."""
        return "".join(sorted({c for char in self.chars for c in char if c.isdigit()}))

    @property
    def knows_point(self) -> bool:
        """Whether a point was seen."""
        return any("." in c for c in self.chars)

    def add(self, char: str, picture: Picture, weight: int = 1) -> None:
        """Enter one sample: averaged into one that is alike, else on its own."""
        self._ready = None
        same = [i for i, c in enumerate(self.chars) if c == char]
        if same:
            offs = distances(picture, shifted(self.pictures[same]))
            k = int(np.argmin(offs))
            if offs[k] < _NEAR:
                i, n = same[k], self.weights[same[k]]
                moved = _aligned(picture, self.pictures[i])
                self.pictures[i] = (n * self.pictures[i] + weight * moved) / (n + weight)
                self.weights[i] = min(n + weight, 50)
                return
        self.chars.append(char)
        self.pictures = np.concatenate([self.pictures, picture[None]]).astype(np.float32)
        self.weights.append(weight)

    def match(self, picture: Picture) -> Match:
        """Return what a glyph's picture is taken for."""
        if not self.chars:
            return Match("", np.inf, np.inf)
        if self._ready is None:
            self._ready = shifted(self.pictures)
        offs = distances(picture, self._ready)
        best: dict[str, float] = {}
        for char, off in zip(self.chars, offs, strict=True):
            best[char] = min(best.get(char, np.inf), float(off))
        ranked = sorted(best.items(), key=lambda item: item[1])
        char, off = ranked[0]
        other, next_off = ranked[1] if len(ranked) > 1 else ("", 1.0)
        return Match(char, off, next_off, other)

    def save(self, path: str | Path) -> Path:
        """Write the glyphs to a file (NumPy's npz)."""
        held = io.BytesIO()
        np.savez_compressed(
            held,
            chars=np.array(self.chars, dtype="U8"),
            pictures=packed(self.pictures),
            weights=np.array(self.weights, dtype=np.int64),
            cut=np.array([self.cut.level, self.cut.gap, float(self.cut.free)]),
        )
        with atomic_write(path) as out:
            out.write(held.getvalue())
        return Path(path)

    @classmethod
    def load(cls, path: str | Path) -> Glyphs:
        """Read glyphs written by :meth:`save`.

        Raises:
            UserError: if the file is missing or holds no glyphs.
        """
        try:
            with np.load(path, allow_pickle=False) as held:
                pictures = unpacked(held["pictures"])
                level, gap, free = held["cut"].tolist()
                chars = [str(c) for c in held["chars"]]
                weights = [int(w) for w in held["weights"]]
        except (OSError, ValueError, KeyError, zipfile.BadZipFile):
            raise UserError(text("video.no_glyphs", path=path)) from None
        return cls(chars, pictures, weights, Cut(level, gap, bool(free)))


def _filtered(pictures: Picture) -> Picture:
    return uniform_filter(pictures, (0,) * (pictures.ndim - 2) + (STROKE, STROKE))[..., ::2, ::2]


def shifted(pictures: NDArray[np.float32]) -> NDArray[np.float32]:
    """Return pictures at each small shift, ready to be compared: (n, shifts, pixels)."""
    held = np.stack([np.roll(pictures, shift, axis=(1, 2)) for shift in _SHIFTS], axis=1)
    return np.ascontiguousarray(_filtered(held).reshape(len(pictures), len(_SHIFTS), -1))


def distances(picture: Picture, ready: NDArray[np.float32]) -> NDArray[np.float32]:
    """Return the difference between a glyph and each of several, at the best small shift."""
    flat = _filtered(picture).ravel()
    return np.asarray(np.abs(ready - flat).max(axis=2).min(axis=1), dtype=np.float32)


def _aligned(picture: Picture, to: Picture) -> Picture:
    offs = distances(to, shifted(picture[None])[0][:, None, :])
    return np.roll(picture, _SHIFTS[int(np.argmin(offs))], axis=(0, 1))


def teach(keyed: Sequence[tuple[Picture, str]], base: Glyphs | None = None) -> Glyphs:
    """Learn the glyphs from keyed stills.

    The cut is the one that gives most stills as many glyphs as characters were keyed.

    Args:
        keyed: ink of a line (1 for a stroke) and what it reads, such as ``"0.12"``; an empty text
            is passed over.
        base: glyphs known before.
    """
    lines = [(line, tidy_key(typed)) for line, typed in keyed]
    lines = [(line, typed) for line, typed in lines if typed]
    best: tuple[float, Cut] = (-1.0, CUTS[0] if base is None or not base.chars else base.cut)
    for how in dict.fromkeys((best[1], *CUTS)):
        fit = sum(_fit(_labelled(cut_line(line, how), typed)) for line, typed in lines)
        if fit > best[0]:
            best = (fit, how)
    known = Glyphs(cut=best[1]) if base is None else replace(base, cut=best[1])
    refused = []
    for line, typed in lines:
        named = _labelled(cut_line(line, best[1]), typed)
        if named is None:  # another cut may do for this one still
            others = (_labelled(cut_line(line, how), typed) for how in CUTS)
            named = next((n for n in others if n is not None), None)
        if named is None:
            if typed.strip("-"):  # dashes alone say that nothing can be read there
                refused.append(typed)
            continue
        for char, glyph in named:
            known.add(char, glyph.picture)
    known.refused = tuple(refused)
    return known


def _fit(named: list[tuple[str, Glyph]] | None) -> float:
    """Return how well a cut suits a still: best with a glyph for each character."""
    if named is None:
        return 0.0
    return 1.0 if all(len(char) == 1 for char, _ in named) else 0.5


def _labelled(glyphs: list[Glyph], typed: str) -> list[tuple[str, Glyph]] | None:
    """Return the glyphs with their characters, or ``None`` if the two do not fit."""
    if len(glyphs) == len(typed):
        named = list(zip(typed, glyphs, strict=True))
        # only what is small and low can be a point, and nothing else may be
        return named if all((c == ".") == g.is_low for c, g in named) else None
    without = typed.replace(".", "")
    if len(glyphs) == len(without) and "." in typed and not any(g.is_low for g in glyphs):
        at = typed.index(".") - 1
        return [
            (char + "." if i == at else char, glyph)
            for i, (char, glyph) in enumerate(zip(without, glyphs, strict=True))
        ]
    return None
