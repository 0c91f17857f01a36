"""Many counters over many sources: ratios, grades, a ranking with its certainty, and a schedule."""

from __future__ import annotations

from typing import Literal

from pydantic import Field

from counterproof.records.base import Measured, Number, Part, Record
from counterproof.records.outcome import Chart, Criterion, Verdict


class Ratio(Part):
    """One counter before one source: net indicated over true dose rate."""

    instrument: str
    source: str
    ratio: Measured | None = None
    count_rate: Measured | None = None
    minutes: float = 0.0
    verdict: Verdict = "no criterion"


class Placing(Part):
    """A counter's place in the ranking.

    ``deviation_percent`` is the root mean square of ln(ratio) over the sources, freed of counting
    scatter; ``before_next`` the probability that it truly deviates less than the one ranked next;
    ``first`` that it deviates least of all. ``grade`` holds with at least 95 %; ``at_best`` is
    possible with at least 5 %.
    """

    instrument: str
    deviation_percent: Number
    deviation_low: Number
    deviation_high: Number
    first: float = Field(ge=0, le=1)
    before_next: Number = None
    grade: str
    at_best: str
    worst_source: str
    sources: int


class Comparison(Record):
    """A shoot-out of several counters over several sources.

    ``truth`` says what each source's ratio is taken to; ``order_probability`` that the whole order
    is right.
    """

    kind: Literal["comparison"] = "comparison"
    id: str = ""
    instruments: tuple[str, ...]
    sources: tuple[str, ...]
    truth: dict[str, str] = Field(default_factory=dict)
    profile: str = ""
    criterion: Criterion | None = None
    ratios: tuple[Ratio, ...] = ()
    ranking: tuple[Placing, ...] = ()
    order_probability: Number = None
    charts: tuple[Chart, ...] = ()
    warnings: tuple[str, ...] = ()
    method: str = ""


class Slot(Part):
    """A stretch of the day: which source (empty for background), who stands at which place."""

    number: int
    start_minute: float = Field(ge=0)
    minutes: float = Field(gt=0)
    source: str = ""
    places: tuple[str, ...]


class Schedule(Record):
    """A day that compares counters fairly: places rotate, background is interleaved."""

    kind: Literal["schedule"] = "schedule"
    instruments: tuple[str, ...]
    sources: tuple[str, ...]
    slots: tuple[Slot, ...]
    total_minutes: float
    remarks: tuple[str, ...] = ()
    cautions: tuple[str, ...] = ()
