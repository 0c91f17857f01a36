"""An outlook: what a proposed change of a counter would bring, predicted before anything is cut.

An :class:`Outlook` holds one :class:`CandidateOutlook` for today's tube and one for each
candidate, their ranking, and the predictions that a retest can hold against what it measures.
"""

from __future__ import annotations

from typing import Literal

from pydantic import Field

from counterproof.records.base import Measured, Number, Part, Record
from counterproof.records.outcome import Chart, Series
from counterproof.records.plan import Plan

Fit = Literal["fits", "care", "does not fit", "unknown"]
PredictedQuantity = Literal[
    "background count rate", "net count rate", "gain", "displayed dose rate", "sensitivity"
]


class CheckLine(Part):
    """One check of tube against box, with its sentence."""

    key: str
    verdict: Fit
    statement: str


class SourceOutlook(Part):
    """What one source at one place gives, background taken off.

    ``gain`` is over today's tube; ``beta_efficiency`` are counts per electron of the source that
    strikes the tube; both are null where there is nothing to compare or no electron.
    """

    source: str
    distance_mm: Number
    true_usv_h: Measured | None = None
    counts_per_s: Measured
    beta_counts_per_s: Measured | None = None
    beta_efficiency: Measured | None = None
    gain: Measured | None = None


class SettingOutlook(Part):
    """What to enter in the menu.

    ``best`` is on the menu's own steps; its interval is that of the value without steps. ``bound``
    says whether the menu's end kept it from a better one.
    """

    name: str
    unit: str
    applies: str
    present: Number
    best: Measured
    bound: bool = False


class Uncorrectable(Part):
    """Dose rates in which no setting works, and the error reading/true − 1 that stays there.

    ``relative_error`` is the one at the end of the range where it is largest.
    """

    low_usv_h: Number
    high_usv_h: Number
    relative_error: Measured
    statement: str


class CandidateOutlook(Part):
    """Everything predicted of one tube in this counter.

    Args:
        name: the probe's name, or the tube's where it sits in the box.
        tube: the tube.
        probe: the probe, or null.
        today: whether it is the tube in use now.
        verdict: whether it goes with the box; ``checks`` say why.
        unknown: what of the tube is not known, with the range that was taken.
        sensitivity: counts per second per µSv/h of Cs-137 from the side.
        sheet_over_physics: data sheet over physics, null without a sheet's sensitivity.
        background: counts per second without a source.
        time_to_10_percent: seconds until the background has a relative standard uncertainty of 10 %
            (100 counts).
        detection_limit: least net dose rate of Cs-137 found with 95 % after ``detection_minutes``
            with and as long without the source.
        top_of_range: true dose rate up to which the number stays right; ``top_because`` says what
            ends it.
        energy: H*(10) response relative to Cs-137.
        energy_departure: of the responses from 60 keV to 1.25 MeV the one farthest from 1.
        endurance_h: battery life, null where the battery is not known.
        sources: by source and place.
        settings: what to enter.
        worst_error: largest error reading/true − 1 that remains over the stated range.
        uncorrectable: where the menu cannot help.
        display: displayed over true dose rate against true dose rate, before and after setting.
    """

    name: str
    tube: str
    probe: str | None = None
    today: bool = False
    verdict: Fit
    checks: tuple[CheckLine, ...] = ()
    unknown: tuple[str, ...] = ()
    sensitivity: Measured
    sheet_over_physics: Number = None
    background: Measured
    time_to_10_percent: Measured
    detection_limit: Measured
    detection_minutes: float = Field(gt=0)
    top_of_range: Measured
    top_because: str
    energy: Series
    energy_departure: Measured
    endurance_h: Measured | None = None
    sources: tuple[SourceOutlook, ...] = ()
    settings: tuple[SettingOutlook, ...] = ()
    worst_error: Measured
    uncorrectable: tuple[Uncorrectable, ...] = ()
    display: tuple[Series, ...] = ()


class Wish(Part):
    """What matters to the person: a bound that must hold, a weight for the ranking, or both."""

    key: str
    statement: str
    weight: float = Field(default=0.0, ge=0)
    low: Number = None
    high: Number = None


class Ranked(Part):
    """A candidate's place: score 0…1 by wish, and the wishes that it breaks."""

    candidate: str
    score: Number
    by_wish: dict[str, Number] = Field(default_factory=dict)
    breaks: tuple[str, ...] = ()


class Binding(Part):
    """A wish that keeps candidates out, how far it would have to give, and what that would buy."""

    wish: str
    relaxed_to: Number
    admits: tuple[str, ...]
    statement: str


class Predicted(Part):
    """One number that a retest can check.

    ``expected`` is the mean with what is uncertain about tube, physics and source; ``retest`` is
    what a run of ``minutes`` will show, counting included. ``tube`` and ``probe`` say what is
    plugged in; the sources stand at ``distance_mm``; ``settings`` are those during the run.
    """

    key: str
    quantity: PredictedQuantity
    statement: str
    tube: str
    probe: str | None = None
    sources: tuple[str, ...] = ()
    distance_mm: Number = None
    settings: dict[str, float] = Field(default_factory=dict)
    minutes: float = Field(gt=0)
    expected: Measured
    retest: Measured


class Outlook(Record):
    """The outlook of a retrofit of one instrument."""

    kind: Literal["outlook"] = "outlook"
    id: str = ""
    instrument: str
    present: str
    statement: str
    candidates: tuple[CandidateOutlook, ...]
    wishes: tuple[Wish, ...] = ()
    ranking: tuple[Ranked, ...] = ()
    binding: tuple[Binding, ...] = ()
    range_usv_h: tuple[float, float]
    background_usv_h: float
    firmware: dict[str, float | str | tuple[float, ...]] = Field(default_factory=dict)
    predictions: tuple[Predicted, ...] = ()
    plan: Plan | None = None
    charts: tuple[Chart, ...] = ()
    assumptions: tuple[str, ...] = ()
    warnings: tuple[str, ...] = ()
    cautions: tuple[str, ...] = ()
    method: str = ""
