"""What ``counterproof pulses FILE --json`` prints."""

from __future__ import annotations

from typing import Literal

from pydantic import Field

from counterproof.records.base import Measured, Record


class PulsesReport(Record):
    """The pulses found in one recording and the rate they stand for.

    ``rate_per_s`` is the true rate with its 95 % interval (corrected for resolving time,
    efficiency and false clicks); null when the recording holds nothing that could be counted.
    """

    kind: Literal["pulses"] = "pulses"
    file: str
    count: int = Field(ge=0)
    duration_s: float = Field(ge=0)
    live_s: float = Field(ge=0)
    rate_per_s: Measured | None
    resolving_time_s: float = Field(ge=0)
    efficiency: float = Field(ge=0, le=1)
    efficiency_u: float = Field(ge=0)
    false_rate_per_s: float = Field(ge=0)
    times_s: list[float]
    warnings: list[str]
