"""A retest: before and after a change, pair by pair, and predicted against measured."""

from __future__ import annotations

from typing import Literal

from pydantic import Field

from counterproof.records.base import Measured, Number, Part, Record
from counterproof.records.outcome import Chart, Criterion, Verdict

Turn = Literal["better", "worse", "no clear change", "changed"]


class Pair(Part):
    """One quantity of a trial before and after.

    ``gain`` is after over before, ``change`` after less before. A judged quantity is *better* or
    *worse* by its verdict, else by its distance from the criterion's middle; one without a
    criterion has merely *changed*.
    """

    trial: str
    quantity: str
    before: Measured
    after: Measured
    gain: Measured | None = None
    change: Measured | None = None
    criterion: Criterion | None = None
    verdict_before: Verdict = "no criterion"
    verdict_after: Verdict = "no criterion"
    turn: Turn


class Pull(Part):
    """A prediction held against what was measured.

    ``pull`` is the distance in combined standard uncertainties (logarithms of positive numbers);
    ``inside`` whether the prediction's own 95 % interval for this retest holds the measurement.
    """

    key: str
    statement: str
    expected: Measured
    measured: Measured
    pull: Number
    inside: bool
    runs: tuple[str, ...] = ()


class Retest(Record):
    """What a change of an instrument brought.

    ``before`` and ``after`` name the probe, null for the built-in tube.
    """

    kind: Literal["retest"] = "retest"
    id: str = ""
    instrument: str
    before: str | None = None
    after: str | None = None
    statement: str
    pairs: tuple[Pair, ...] = ()
    pulls: tuple[Pull, ...] = ()
    missed: int = Field(default=0, ge=0)
    outlook: str = ""
    regressions: tuple[str, ...] = ()
    charts: tuple[Chart, ...] = ()
    runs: tuple[str, ...] = ()
    missing: tuple[str, ...] = ()
    warnings: tuple[str, ...] = ()
    simulated: bool = False
    method: str = ""
