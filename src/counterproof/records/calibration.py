"""A calibration: the factor, how sure, for what it holds, and how much may be said of it.

``standing`` is the line between a check and a calibration. It follows from the links to what is
known (:func:`standing_of`); a record that claims more than its links carry cannot be made, and the
sentence about it is looked up by it, never written by hand.
"""

from __future__ import annotations

from datetime import date
from typing import Literal

from pydantic import Field, model_validator

from counterproof.records.base import Measured, Number, Part, Record
from counterproof.records.outcome import Chart
from counterproof.texts import text

Standing = Literal["relative only", "checked, not traceable", "calibrated, traceable"]


class Link(Part):
    """What ties the result to µSv/h: a source with its activity or a reference counter.

    ``traceable`` needs a certificate with date and uncertainty; what is missing for it stands in
    ``why_not``.
    """

    name: str
    role: Literal["check source", "reference counter"]
    certificate: str = ""
    dated: date | None = None
    nuclide: str = ""
    relative_u: Number = None
    traceable: bool = False
    why_not: str = ""

    @model_validator(mode="after")
    def _carried(self) -> Link:
        proven = self.certificate and self.dated is not None and self.relative_u is not None
        if self.traceable and not proven:
            raise ValueError(text("calibration.link_unproven", name=self.name))
        return self


def standing_of(links: tuple[Link, ...], misfit: bool) -> Standing:
    """Return how much may be said of a result that rests on ``links``.

    Traceable only if every link that the scale rests on is, and the levels fit together.
    """
    if not links:
        return "relative only"
    if all(link.traceable for link in links) and not misfit:
        return "calibrated, traceable"
    return "checked, not traceable"


class BudgetRow(Part):
    """A line of the GUM budget of a factor; contributions in per cent of the factor.

    ``sensitivity`` is the change of the factor in per cent per unit of the input; null for counts,
    which enter by many observations at once. ``dof`` null stands for infinitely many.
    """

    name: str
    evaluation: Literal["A", "B"]
    distribution: str
    u: Number = None
    unit: str = ""
    sensitivity: Number = None
    contribution_percent: float = Field(ge=0)
    dof: Number = None
    source: str = ""


class Band(Part):
    """A stretch of the scale with one factor.

    ``response`` is reading over true, ``factor`` true over reading: a reading times it is the best
    estimate of the true dose rate. Without a display, ``sensitivity`` alone is given, in
    cpm/(µSv/h). ``low`` and ``high`` bound the readings it was found for.
    """

    name: str
    low: Number = None
    high: Number = None
    response: Measured | None = None
    factor: Measured | None = None
    sensitivity: Measured | None = None
    budget: tuple[BudgetRow, ...] = ()
    expanded_percent: Number = None
    coverage_factor: Number = None
    dof: Number = None

    @property
    def where(self) -> str:
        """Where on the scale, in words."""
        return text(f"calibration.band.{self.name.replace(' ', '_')}")


class CalibrationLevel(Part):
    """One level: what was true there, what was shown, and what a best setting leaves wrong."""

    label: str
    runs: tuple[str, ...] = ()
    distance_mm: Number = None
    true: Measured | None = None
    shown: Measured
    response: Measured | None = None
    factor: Measured | None = None
    residual: Number = None
    remaining_percent: Number = None


class Advice(Part):
    """The best value of one factor of the menu, and the largest error that remains with it."""

    setting: str
    unit: str
    present: Number = None
    best: float
    ideal: Measured
    worst_percent: float
    worst_at: str
    applies: str = "everywhere"
    note: str = ""

    def covers(self, band: Band) -> bool:
        """Whether this factor works in a band."""
        return self.applies in ("everywhere", band.name) or band.name == "everywhere"


class Weight(Part):
    """A form of the factor that was weighed: decimal logarithm of its odds against one factor."""

    model: str
    log10_odds: float


class Quantity(Part):
    """A nuisance: what was assumed of it and what the data made of it."""

    name: str
    unit: str
    assumed: float
    assumed_u: Number
    found: float
    found_u: float


class Validity(Part):
    """What the result holds for."""

    nuclides: tuple[str, ...]
    low_usv_h: Number = None
    high_usv_h: Number = None
    distances_mm: tuple[float, ...] = ()
    geometry: str = ""
    place: str = ""
    dated: date | None = None


class Calibration(Record):
    """A fitted calibration of one counter, with the probe in use.

    ``signal`` says what was set against the truth: the displayed dose rate or the counts.
    """

    kind: Literal["calibration"] = "calibration"
    id: str = ""
    instrument: str
    probe: str | None = None
    switch_state: str | None = None
    signal: Literal["display", "counts"]
    standing: Standing
    links: tuple[Link, ...] = ()
    misfit: bool = False
    p_value: Number = None
    model: Literal["one factor", "two factors", "curve"]
    weighed: tuple[Weight, ...] = ()
    bands: tuple[Band, ...]
    levels: tuple[CalibrationLevel, ...]
    nuisances: tuple[Quantity, ...] = ()
    advice: tuple[Advice, ...] = ()
    validity: Validity
    charts: tuple[Chart, ...] = ()
    warnings: tuple[str, ...] = ()
    simulated: bool = False
    method: str = ""

    @model_validator(mode="after")
    def _no_more_than_it_carries(self) -> Calibration:
        allowed = standing_of(self.links, self.misfit)
        if self.standing != allowed:
            raise ValueError(
                text("calibration.overclaimed", claimed=self.standing, allowed=allowed)
            )
        return self

    @property
    def title(self) -> str:
        """What was done, in the words that its standing allows."""
        key = {
            "relative only": "relative",
            "checked, not traceable": "checked",
            "calibrated, traceable": "traceable",
        }[self.standing]
        if key == "checked" and all(link.role == "check source" for link in self.links):
            key = "source"
        names = ", ".join(link.name for link in self.links)
        who = self.instrument
        if self.probe:
            who = text("calibration.with_probe", instrument=who, probe=self.probe)
        return text(f"calibration.title_{key}", instrument=who, links=names)
