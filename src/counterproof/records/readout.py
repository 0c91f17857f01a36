"""What ``counterproof readout --json`` prints: the firmware behind a display."""

from __future__ import annotations

from typing import Literal

from pydantic import Field

from counterproof.records.base import Measured, Number, Part, Record


class Weighed(Part):
    """A hypothesis about the factors, with natural logarithms.

    ``score`` is the log likelihood less a penalty for the parameters.
    """

    name: str
    log_likelihood: float
    score: float


class ReadoutEvidence(Part):
    """What the answer rests on."""

    readings: int = Field(ge=0)
    pulses: int = Field(ge=0)
    reproduced_share: float = Field(ge=0, le=1)
    independent_share: float = Field(ge=0, le=1)
    loss_share: float = Field(ge=0, le=1)
    seen_low_usv_h: Number = None
    seen_high_usv_h: Number = None
    kind_log_likelihood_ratio: Number = None
    kind_rival: str = ""
    hypotheses: tuple[Weighed, ...] = ()
    statements: tuple[str, ...] = ()


class ReadoutReport(Record):
    """The simplest adequate firmware, each parameter with its 95 % interval or null.

    Factors stand lowest range first; the switch is in displayed units of the lower range (count
    rate over the lowest factor). ``factor_ratio`` stands alone for a box that does not click: the
    factor above the switch over that below. ``time_constant_s`` is the window of a boxcar or the
    time constant of an exponential.
    """

    kind: Literal["readout"] = "readout"
    instrument: str = ""
    runs: tuple[str, ...] = ()
    model: str
    estimator: str
    factors_cpm_per_usv_h: tuple[Measured, ...]
    switch_usv_h: Measured | None
    factor_ratio: Measured | None = None
    time_constant_s: Measured | None
    window_pulses: int | None = None
    quantum_usv_h: Measured | None
    refresh_s: Measured | None = None
    clock_offsets_s: tuple[Measured, ...] = ()
    hysteresis: Measured | None = None
    dead_time_s: Measured | None = None
    background_cpm: Measured | None = None
    evidence: ReadoutEvidence
    missing: tuple[str, ...] = ()
