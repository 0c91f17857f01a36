"""What a dossier is made of: everything it shows, gathered from the bench."""

from __future__ import annotations

from datetime import date, datetime
from typing import Literal

from pydantic import Field

from counterproof.records.base import Measured, Number, Part, Record
from counterproof.records.calibration import Calibration
from counterproof.records.comparison import Comparison
from counterproof.records.finding import Finding
from counterproof.records.outcome import Outcome
from counterproof.records.outlook import Outlook
from counterproof.records.retest import Retest
from counterproof.records.run import Absorber, Run


class Item(Part):
    """A thing on the bench as the dossier describes it; ``missing`` says what is not stated."""

    name: str
    kind: str
    facts: dict[str, str] = Field(default_factory=dict)
    missing: tuple[str, ...] = ()


class Brief(Part):
    """The first page: what was found in plain words, how sure it is, and what to do."""

    verdict: str
    sure: str
    points: tuple[str, ...] = ()
    advice: tuple[str, ...] = ()
    basis: str = ""


class Claim(Part):
    """What a maker or seller says, quoted, with its source."""

    what: str
    value: str
    source: str


class Sketch(Part):
    """How source and counter stood, for a drawing of the geometry."""

    label: str
    source: str
    instruments: tuple[str, ...]
    distance_mm: Number = None
    angle_deg: float = 0.0
    absorbers: tuple[Absorber, ...] = ()
    runs: int = 1


class Tally(Part):
    """The raw figures of a run: counts in a time, and what the display showed."""

    run: str
    counts: Number = None
    live_s: Number = None
    rate: Measured | None = None
    shown: Measured | None = None
    how: str = ""


class Photo(Part):
    """A photograph without what its camera wrote into it; ``data`` is base64."""

    of: str
    caption: str
    media: Literal["image/jpeg", "image/png"]
    sha256: str
    data: str


class Seen(Part):
    """What was noted of one part in an inspection."""

    part: str
    note: str
    marking: str = ""
    measured: dict[str, str] = Field(default_factory=dict)


class Inspected(Part):
    """A dated look inside."""

    of: str
    dated: date
    by: str = ""
    seen: tuple[Seen, ...] = ()
    handling: dict[str, str] = Field(default_factory=dict)
    changes: tuple[tuple[str, str], ...] = ()
    note: str = ""


class Publication(Record):
    """The content of one dossier about one instrument.

    ``built_utc`` is the only field that may differ between two dossiers of the same bench.
    ``gaps`` say by chapter (``"runs"``, ``"calibration"``, a trial's name, …) what is missing.
    """

    kind: Literal["publication"] = "publication"
    schema_version: int = Field(default=2, ge=1)
    title: str
    instrument: str
    built_utc: datetime
    version: str
    invented: bool = False
    verdict: str
    brief: Brief | None = None
    summary: tuple[str, ...]
    profile: str
    claims: tuple[Claim, ...] = ()
    items: tuple[Item, ...] = ()
    sketches: tuple[Sketch, ...] = ()
    outcomes: tuple[Outcome, ...] = ()
    questions: dict[str, str] = Field(default_factory=dict)
    findings: tuple[Finding, ...] = ()
    outlooks: tuple[Outlook, ...] = ()
    calibrations: tuple[Calibration, ...] = ()
    retests: tuple[Retest, ...] = ()
    comparisons: tuple[Comparison, ...] = ()
    inspections: tuple[Inspected, ...] = ()
    photos: tuple[Photo, ...] = ()
    runs: tuple[Run, ...] = ()
    tallies: tuple[Tally, ...] = ()
    missing: tuple[str, ...] = ()
    gaps: dict[str, tuple[str, ...]] = Field(default_factory=dict)
    limitations: tuple[str, ...] = ()
    cautions: tuple[str, ...] = ()
