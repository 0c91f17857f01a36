"""A trial's plan: which runs, how long, what to use where a laboratory would have better."""

from __future__ import annotations

from typing import Literal

from pydantic import Field

from counterproof.records.base import Part, Record
from counterproof.records.outcome import Verdict


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


class Standing(Part):
    """How far one trial of an instrument has come.

    ``minutes`` is the recording time still to be spent: the plan's where nothing is recorded, the
    rest where the outcome is open, 0 where it is decided or only has to be judged; ``None`` where
    no counting time will settle it. ``missing`` says what, in sentences.
    """

    trial: str
    question: str
    state: Literal["nothing recorded", "not judged", "open", "decided"]
    verdict: Verdict | None = None
    minutes: float | None = Field(default=None, ge=0)
    missing: tuple[str, ...] = ()


class Agenda(Record):
    """What every trial of an instrument still needs, and how long that takes."""

    kind: Literal["agenda"] = "agenda"
    instrument: str
    trials: tuple[Standing, ...]
    total_minutes: float = Field(ge=0)
