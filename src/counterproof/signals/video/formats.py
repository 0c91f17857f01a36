"""The declared form of a displayed number: its digits, its decimals and its ranges."""

from __future__ import annotations

import re
from collections.abc import Sequence
from dataclasses import dataclass

from counterproof.errors import UserError
from counterproof.texts import text

_ONE = re.compile(r"0+(?:[.,]0+)?")


@dataclass(frozen=True)
class Format:
    """How a number is written.

    Args:
        forms: (least digits before the point, decimals) of each range.
        written: as it was declared.
    """

    forms: tuple[tuple[int, int], ...]
    written: str

    @classmethod
    def parse(cls, written: str) -> Format:
        """Return the format declared as ``0.00``, or as ``0.00|00.0|000`` where the point moves.

        Zeros before the point are the least digits, zeros after it the exact decimals.

        Raises:
            UserError: if it is written otherwise.
        """
        forms = []
        for part in written.split("|"):
            form = part.strip().replace(",", ".")
            if not _ONE.fullmatch(form):
                raise UserError(text("video.format_form", given=written))
            before, _, after = form.partition(".")
            forms.append((len(before), len(after)))
        return cls(tuple(forms), written)

    @property
    def has_point(self) -> bool:
        """Whether some range shows a point."""
        return any(decimals for _, decimals in self.forms)

    @property
    def shifts(self) -> bool:
        """Whether the point stands in different places in different ranges."""
        return len({decimals for _, decimals in self.forms}) > 1

    @property
    def quantum(self) -> float | None:
        """The display's step, where it is the same in all ranges."""
        decimals = {d for _, d in self.forms}
        return 10.0 ** -decimals.pop() if len(decimals) == 1 else None

    def fits(self, shown: str) -> bool:
        """Say whether a text is a number written in one of the forms."""
        if not re.fullmatch(r"\d+(?:\.\d+)?", shown):
            return False
        before, _, after = shown.partition(".")
        return any(len(before) >= n and len(after) == d for n, d in self.forms)

    def could_be(self, points: Sequence[bool]) -> bool:
        """Say whether glyphs may be a number in one of the forms.

        Args:
            points: of each glyph from left to right, whether it looks like a point.
        """
        digits = len(points) - sum(points)
        for before, decimals in self.forms:
            if digits < before + decimals or sum(points) != (decimals > 0):
                continue
            if not decimals or points[len(points) - 1 - decimals]:
                return True
        return False


def tidy_key(typed: str) -> str:
    """Return what was keyed for a still in the one form used here: point for comma, no blanks."""
    return typed.strip().replace(",", ".").replace(" ", "")
