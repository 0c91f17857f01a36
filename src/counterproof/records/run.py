"""One stretch of recording: who, where, with what, and which signals."""

from __future__ import annotations

from datetime import UTC, datetime
from typing import Literal

from pydantic import Field, field_validator

from counterproof.records.base import Part, Record

CONDITIONS: dict[str, str | tuple[str, ...]] = {
    "voltage_v": "V",
    "temperature_c": "°C",
    "light": ("dark", "lamp", "ultraviolet"),
    "step_s": "s",
    "injected_per_s": "cps",
    "mode": "",
    "current_ma": "mA",
    "battery_empty": ("0", "1"),
}
"""Conditions that trials read, with the unit of a number or the words that are allowed.

``voltage_v``: the tube's supply; ``temperature_c``: of the counter; ``light`` on the tube;
``step_s``: when, within the run, the dose rate stepped; ``injected_per_s``: rate of a pulse
generator in place of the tube; ``mode``: what the counter was set to (any word); ``current_ma``:
drawn from the battery; ``battery_empty``: 1 when the run ended because the battery was empty.
"""


class Absorber(Part):
    """A sheet between source and instrument."""

    material: str
    thickness_mm: float | None = Field(default=None, gt=0)
    areal_density_mg_cm2: float | None = Field(default=None, gt=0)


class Position(Part):
    """Where source and instrument stand.

    ``distance_mm`` runs to the tube's effective centre; ``angle_deg`` from the calibration
    direction. A background run has no distance.
    """

    place: str = ""
    distance_mm: float | None = Field(default=None, gt=0)
    distance_u_mm: float | None = Field(default=None, ge=0)
    angle_deg: float = 0.0
    absorbers: tuple[Absorber, ...] = ()

    @property
    def is_open(self) -> bool:
        """Whether nothing stands between source and counter, which faces it."""
        return not self.absorbers and self.angle_deg == 0.0


class Signal(Part):
    """One stored signal of a run.

    ``form`` says which reader it needs; ``file`` is relative to the bench folder.
    """

    form: Literal["pulse_train", "count_log", "reading_log", "recording"]
    file: str
    sha256: str
    count: int | None = None
    duration_s: float | None = None
    quantity: str | None = None
    unit: str | None = None
    field: Literal["momentary", "average", "accumulated"] | None = None
    note: str = ""


class Run(Record):
    """A run: instrument (probe in use, switch state) + position + sources + signals.

    ``conditions`` hold what was set or measured beside it, under the names of ``CONDITIONS``.
    """

    kind: Literal["run"] = "run"
    id: str
    instrument: str
    probe: str | None = None
    switch_state: str | None = None
    position: Position = Position()
    sources: tuple[str, ...] = ()
    started_utc: datetime
    duration_s: float = Field(ge=0)
    signals: tuple[Signal, ...] = ()
    conditions: dict[str, float | str] = Field(default_factory=dict)
    note: str = ""
    interrupted: bool = False
    simulated: bool = False

    @field_validator("started_utc")
    @classmethod
    def _in_utc(cls, moment: datetime) -> datetime:
        if moment.tzinfo is None:
            raise ValueError("a run's start needs a time zone; UTC is stored")
        return moment.astimezone(UTC)

    @property
    def is_altered(self) -> bool:
        """Whether voltage, light, dose rate or pulses were altered on purpose during the run.

        Such a run serves the trial that asked for it and no other.
        """
        altered = {"voltage_v", "step_s", "injected_per_s"} & self.conditions.keys()
        return bool(altered) or self.conditions.get("light") in ("lamp", "ultraviolet")

    @property
    def is_background(self) -> bool:
        """Whether no source was present and nothing altered on purpose."""
        return not self.sources and not self.is_altered

    @property
    def with_source(self) -> bool:
        """Whether a source was present and nothing altered on purpose."""
        return bool(self.sources) and not self.is_altered
