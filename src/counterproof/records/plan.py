"""A trial's plan: which runs, how long, what to use where a laboratory would have better."""

from __future__ import annotations

from typing import Literal

from pydantic import Field

from counterproof.records.base import Part, Record


class PlannedRun(Part):
    """One run to make."""

    instrument: str
    what: str
    minutes: float = Field(gt=0)
    sources: tuple[str, ...] = ()
    reason: str = ""


class Plan(Record):
    """What a trial asks for before it can say something."""

    kind: Literal["plan"] = "plan"
    trial: str
    question: str
    runs: tuple[PlannedRun, ...]
    total_minutes: float = Field(ge=0)
    expected: str
    needs: tuple[str, ...] = ()
    bench_substitute: str = ""
    cautions: tuple[str, ...] = ()
