"""What the commands that look at a bench print with ``--json``."""

from __future__ import annotations

from typing import Literal

from pydantic import Field

from counterproof.records.base import Measured, Part, Record
from counterproof.records.publication import Item
from counterproof.records.run import Run


class BenchSummary(Record):
    """What lies on a bench, and the suggested next step."""

    kind: Literal["bench_summary"] = "bench_summary"
    folder: str
    name: str
    items: dict[str, int] = Field(default_factory=dict)
    outcomes: dict[str, str] = Field(default_factory=dict)
    next_step: str = ""


class BenchCheck(Record):
    """Whether a bench is whole."""

    kind: Literal["bench_check"] = "bench_check"
    folder: str
    ok: bool
    problems: tuple[str, ...] = ()
    notes: tuple[str, ...] = ()
    items: int
    files: int


class KitListing(Record):
    """Items of the kit with what is stated about each."""

    kind: Literal["kit_listing"] = "kit_listing"
    items: tuple[Item, ...]


class RunSummary(Part):
    """A run and its count rate, where it counts."""

    run: Run
    rate_per_s: Measured | None = None
    warnings: tuple[str, ...] = ()


class RunListing(Record):
    """Runs of a bench."""

    kind: Literal["run_listing"] = "run_listing"
    runs: tuple[RunSummary, ...]


class TrialEntry(Part):
    """A trial that can be run."""

    name: str
    question: str
    needs: tuple[str, ...]
    bench_substitute: str = ""


class TrialListing(Record):
    """The trials, or the acceptance profiles, that there are."""

    kind: Literal["trial_listing"] = "trial_listing"
    trials: tuple[TrialEntry, ...] = ()
    profiles: dict[str, str] = Field(default_factory=dict)
