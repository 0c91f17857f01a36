"""What a dossier is made of: everything it shows, gathered from the bench."""

from __future__ import annotations

from datetime import datetime
from typing import Literal

from pydantic import Field

from counterproof.records.base import Part, Record
from counterproof.records.finding import Finding
from counterproof.records.outcome import Outcome
from counterproof.records.run import Run


class Item(Part):
    """A thing on the bench as the dossier describes it."""

    name: str
    kind: str
    facts: dict[str, str] = Field(default_factory=dict)


class Publication(Record):
    """The content of one dossier about one instrument.

    ``built_utc`` is the only field that may differ between two dossiers of the same bench.
    """

    kind: Literal["publication"] = "publication"
    title: str
    instrument: str
    built_utc: datetime
    version: str
    invented: bool = False
    verdict: str
    summary: tuple[str, ...]
    profile: str
    items: tuple[Item, ...] = ()
    outcomes: tuple[Outcome, ...] = ()
    questions: dict[str, str] = Field(default_factory=dict)
    findings: tuple[Finding, ...] = ()
    runs: tuple[Run, ...] = ()
    missing: tuple[str, ...] = ()
    limitations: tuple[str, ...] = ()
    cautions: tuple[str, ...] = ()
