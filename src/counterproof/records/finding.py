"""A finding: a statement about an instrument, with what speaks for and against it."""

from __future__ import annotations

from typing import Literal

from counterproof.quantities.format import format_number
from counterproof.records.base import Measured, Number, Part, Record
from counterproof.texts import text

COUNTABLE = 12.0
"""log₁₀ beyond which a Bayes factor says no more than that: models are never that right."""


class Rival(Part):
    """Another explanation that was weighed."""

    statement: str
    log10_bayes_factor: Number = None
    set_aside_because: str = ""


class NextMeasurement(Part):
    """The measurement that would separate the rivals best."""

    what: str
    minutes: float
    separates: str


class Finding(Record):
    """A statement with evidence (runs), strength, rivals and what would refute it.

    ``strength`` is the word for ``log10_bayes_factor`` (or for the likelihood ratio it came from).
    """

    kind: Literal["finding"] = "finding"
    id: str = ""
    instrument: str
    subject: str
    statement: str
    runs: tuple[str, ...] = ()
    strength: str
    log10_bayes_factor: Number = None
    measured: Measured | None = None
    rivals: tuple[Rival, ...] = ()
    refuted_by: str
    next_measurement: NextMeasurement | None = None
    missing: tuple[str, ...] = ()

    @property
    def strength_words(self) -> str:
        """Strength in words and, where there is one, as a rounded Bayes factor."""
        factor = self.log10_bayes_factor
        if factor is None:
            return self.strength
        if factor > COUNTABLE:
            number = text("findings.beyond", number=format_number(10.0**COUNTABLE, 1))
        else:
            number = format_number(float(f"{10.0**factor:.1g}"), 1)
        return text("findings.strength", word=self.strength, number=number)
