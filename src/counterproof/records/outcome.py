"""The outcome of a trial: judged against a criterion, with every number it rests on."""

from __future__ import annotations

from typing import Literal

from pydantic import Field, model_validator

from counterproof.records.base import Measured, Number, Part, Record

Verdict = Literal["met", "not met", "cannot tell yet", "no criterion"]


class Criterion(Part):
    """What the outcome is judged against, and who says so.

    The judged quantity must lie within ``low``…``high`` (either may be absent).
    """

    name: str
    statement: str
    source: str
    low: float | None = None
    high: float | None = None

    @model_validator(mode="after")
    def _ordered(self) -> Criterion:
        if self.low is None and self.high is None:
            raise ValueError("a criterion needs a lower or an upper bound")
        if self.low is not None and self.high is not None and self.low > self.high:
            raise ValueError("a criterion's lower bound exceeds its upper bound")
        return self


class Judgement(Part):
    """One judged quantity of an outcome."""

    quantity: str
    measured: Measured
    criterion: Criterion | None = None
    verdict: Verdict
    more_minutes: float | None = Field(default=None, ge=0)
    statement: str


class Series(Part):
    """Points for a chart or table: x with y, an interval where there is one."""

    name: str
    role: str = "measured"
    x: tuple[Number, ...]
    y: tuple[Number, ...]
    low: tuple[Number, ...] = ()
    high: tuple[Number, ...] = ()
    labels: tuple[str, ...] = ()

    @model_validator(mode="after")
    def _one_length(self) -> Series:
        n = len(self.x)
        sizes = {len(s) for s in (self.y, self.low, self.high, self.labels) if s}
        if sizes - {n}:
            raise ValueError(f"series {self.name!r} has columns of different lengths")
        return self


class Mark(Part):
    """A line behind the data: a criterion's bound, or perfect agreement."""

    axis: Literal["x", "y"]
    at: float
    dashed: bool = True


class Shade(Part):
    """A range behind the data, such as dose rates that no setting can correct."""

    axis: Literal["x", "y"]
    low: float
    high: float


class Chart(Part):
    """Data that answer one question as a picture; the charts room draws it.

    A chart by label (``form="intervals"``) keeps its values in ``y`` with one label each; they are
    drawn along the horizontal axis.
    """

    question: str
    x_title: str
    y_title: str
    series: tuple[Series, ...]
    form: Literal["points", "lines", "intervals", "histogram", "strip"] = "points"
    log_x: bool = False
    log_y: bool = False
    marks: tuple[Mark, ...] = ()
    shades: tuple[Shade, ...] = ()


class Row(Part):
    """One line of an outcome's table, with the instrument and run it speaks of."""

    label: str
    instrument: str = ""
    run: str = ""
    values: dict[str, Measured | str | float | int | None] = Field(default_factory=dict)


class Outcome(Record):
    """What a trial found.

    ``verdict`` is the worst of the judgements: one *not met* decides, else one
    *cannot tell yet*, else *met*.
    """

    kind: Literal["outcome"] = "outcome"
    id: str = ""
    trial: str
    instrument: str
    verdict: Verdict
    statement: str
    runs: tuple[str, ...]
    judgements: tuple[Judgement, ...] = ()
    table: tuple[Row, ...] = ()
    charts: tuple[Chart, ...] = ()
    warnings: tuple[str, ...] = ()
    method: str = ""

    @property
    def headline(self) -> str:
        """The first sentence of the statement."""
        first, stop, _ = self.statement.partition(". ")
        return first + stop.strip()


def worst(verdicts: list[Verdict]) -> Verdict:
    """Return the verdict that decides over several."""
    order: tuple[Verdict, ...] = ("not met", "cannot tell yet", "met")
    for verdict in order:
        if verdict in verdicts:
            return verdict
    return "no criterion"
