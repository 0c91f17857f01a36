"""A build sheet: what it takes to build a probe, in which order, and what to measure before."""

from __future__ import annotations

from typing import Literal

from counterproof.records.base import Part, Record


class BuildPart(Part):
    """One line of the parts list."""

    number: int
    what: str
    value: str
    note: str = ""


class BuildCheck(Part):
    """One measurement before power is switched on, with what it should give."""

    what: str
    how: str
    expected: str


class BuildSheet(Record):
    """Everything on paper: parts, order of work, checks, cautions, and the drawings' files."""

    kind: Literal["build_sheet"] = "build_sheet"
    instrument: str
    probe: str
    parts: tuple[BuildPart, ...]
    steps: tuple[str, ...]
    checks: tuple[BuildCheck, ...]
    cautions: tuple[str, ...]
    notes: tuple[str, ...] = ()
    dimensions_mm: dict[str, float]
    files: tuple[str, ...] = ()
