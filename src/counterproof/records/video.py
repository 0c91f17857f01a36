"""What ``counterproof readings VIDEO --json`` prints."""

from __future__ import annotations

from typing import Literal

from pydantic import Field

from counterproof.records.base import Measured, Part, Record


class Asked(Part):
    """A still to key: what it shows cannot be given before.

    ``number`` is its number on the sheet, ``seconds`` how long stills like it stood.
    """

    number: int
    field: int = 1
    time_s: float
    guess: str = ""
    why: str = ""
    seconds: float = 0.0


class FieldReadings(Part):
    """One number of the display: parallel lists, times from the first sample of the sound."""

    field: str
    quantity: str
    unit: str
    quantum: float | None = None
    times_s: list[float]
    values: list[float]
    confidence: list[float]
    refresh_s: Measured | None = None
    given_share: float = Field(ge=0, le=1)


class VideoReport(Record):
    """The readings of a video's display.

    ``times_s``, ``values`` and ``confidence`` are those of the first number; ``more`` holds the
    others. ``asked`` are stills to key, on the sheet at ``sheet`` where one was written.
    ``flashes_s`` are those of a pulse lamp; ``clock_offset_s`` says how much later they come than
    the clicks in the sound.
    """

    kind: Literal["video_readings"] = "video_readings"
    file: str
    duration_s: float = Field(ge=0)
    field: str
    quantity: str
    unit: str
    quantum: float | None = None
    times_s: list[float]
    values: list[float]
    confidence: list[float]
    refresh_s: Measured | None = None
    given_share: float = Field(ge=0, le=1)
    gaps_s: list[tuple[float, float]]
    asked: list[Asked]
    keyed: int = Field(ge=0)
    sheet: str = ""
    more: tuple[FieldReadings, ...] = ()
    flashes_s: list[float] | None = None
    clock_offset_s: Measured | None = None
    warnings: list[str]
