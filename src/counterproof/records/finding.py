"""A finding: a statement about an instrument, with what speaks for and against it."""

from __future__ import annotations

from typing import Literal

from counterproof.records.base import Measured, Number, Part, Record


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
