"""A counter as a box: tube or probes, supply, readout, what its menu can set, battery."""

from __future__ import annotations

import datetime as dt
from typing import ClassVar, Literal, Self

from pydantic import Field, model_validator

from counterproof.kit.base import KitItem, KitPart
from counterproof.kit.fields import (
    CapacityText,
    Hours,
    NuclideName,
    ResistanceText,
    Seconds,
    VoltageText,
    said,
    uncertainty_of,
)
from counterproof.quantities import (
    Estimate,
    conversion_factor,
    convert,
    parse_quantity,
    parse_sensitivity,
)
from counterproof.texts import text

Quantity = Literal["dose_rate", "count_rate", "dose", "counts"]

_UNITS: dict[str, tuple[str, ...]] = {
    "dose_rate": ("µSv/h", "µGy/h", "mR/h"),
    "count_rate": ("cpm",),
    "dose": ("µSv", "µGy", "mR"),
    "counts": ("counts",),
}


class Display(KitPart):
    """One number that the box shows.

    ``quantum`` is its smallest step and ``top`` its largest number, both in ``unit``.
    """

    quantity: Quantity
    unit: str
    field: Literal["momentary", "average", "accumulated"] = "momentary"
    quantum: float | None = Field(default=None, gt=0)
    top: float | None = Field(default=None, gt=0)
    window_s: Seconds | None = None

    @model_validator(mode="after")
    def _unit_fits(self) -> Self:
        from counterproof.errors import UserError

        first: UserError | None = None
        for allowed in _UNITS[self.quantity]:
            try:
                conversion_factor(self.unit, allowed)
            except UserError as error:
                first = first or error
            else:
                return self
        raise ValueError(first.message if first else "")


class Setting(KitPart):
    """One thing that the menu can set.

    ``low``, ``high`` and ``step`` bound what it accepts, ``value`` is what it stands at, all in
    ``unit``. ``applies`` says where a factor works: a factor that holds only above a switch
    cannot correct what is below it.
    """

    kind: Literal["factor", "threshold", "dead_time", "alarm", "period", "other"]
    name: str = ""
    unit: str = ""
    low: float | None = None
    high: float | None = None
    step: float | None = Field(default=None, gt=0)
    value: float | None = None
    applies: Literal["everywhere", "below the switch", "above the switch"] = "everywhere"
    note: str = ""

    @model_validator(mode="after")
    def _within(self) -> Self:
        if self.unit:
            said(conversion_factor, self.unit, self.unit)
            wanted = {"factor": "cpm/(µSv/h)", "dead_time": "µs", "period": "s"}.get(self.kind)
            if wanted:
                said(conversion_factor, self.unit, wanted)
        low, high, value = self.low, self.high, self.value
        if low is not None and high is not None and low > high:
            raise ValueError(text("kit.setting_down"))
        if value is not None and (
            (low is not None and value < low) or (high is not None and value > high)
        ):
            raise ValueError(text("kit.setting_outside", value=value))
        return self


class Readout(KitPart):
    """The firmware as seen from outside."""

    refresh_s: Seconds | None = None
    pulses_per_click: int | None = Field(default=None, ge=1)
    clicks: Literal["loudspeaker", "piezo", "lamp", "none"] | None = None
    note: str = ""


class Supply(KitPart):
    """The tube's high voltage as the box makes it."""

    voltage: VoltageText | None = None
    regulated: bool | None = None
    source_resistance: ResistanceText | None = None
    anode_resistor: ResistanceText | None = None


class Battery(KitPart):
    """What feeds the box."""

    capacity: CapacityText | None = None
    voltage: VoltageText | None = None
    chemistry: str = ""
    claimed_h: Hours | None = None


class Claim(KitPart):
    """A statement by whoever sells the box, quoted with its source and date."""

    what: str
    value: str
    source: str


class Calibrated(KitPart):
    """What makes a counter a reference: its sensitivity, for which nuclide, how sure, who says so.

    ``uncertainty`` is one standard uncertainty; ``nuclide`` may be absent where the calibration
    holds for every photon source in use. ``own_background`` are the counts that the counter makes
    without any field.
    """

    sensitivity: str
    nuclide: NuclideName | None = None
    uncertainty: str
    own_background: str | None = None
    source: str
    date: dt.date | None = None
    traceable: bool = False

    @model_validator(mode="after")
    def _readable(self) -> Self:
        said(self.per_s_per_usv_h)
        if self.own_background is not None:
            said(parse_quantity, self.own_background, "cps")
        return self

    def per_s_per_usv_h(self) -> Estimate:
        """Return the sensitivity in 1/s per µSv/h of H*(10).

        Raises:
            UserError: if it is stated in another dose quantity or its uncertainty is no number.
        """
        stated = parse_sensitivity(self.sensitivity, self.nuclide or "", "h10")
        value = convert(stated.value, stated.unit, "cps/(µSv/h)")
        u = uncertainty_of(self.uncertainty, value, "cps/(µSv/h)")
        unit, half = "1/s per µSv/h", 1.959964 * u
        return Estimate(value, u, value - half, value + half, 0.95, unit, None, self.source)


class Instrument(KitItem):
    """A counter.

    ``tube`` names the tube built in, ``probes`` the probes that can be plugged in; ``switch``
    lists the states of a changeover switch.
    """

    table: ClassVar[str] = "instrument"

    description: str = ""
    serial: str = ""
    firmware: str = ""
    role: Literal["under test", "reference", "other"] = "other"
    tube: str | None = None
    probes: tuple[str, ...] = ()
    switch: tuple[str, ...] = ()
    supply: Supply = Supply()
    readout: Readout = Readout()
    display: tuple[Display, ...] = ()
    setting: tuple[Setting, ...] = ()
    battery: Battery = Battery()
    claim: tuple[Claim, ...] = ()
    calibration: tuple[Calibrated, ...] = ()
    photos: tuple[str, ...] = ()

    @property
    def factors(self) -> tuple[Setting, ...]:
        """The factors that the menu can set."""
        return tuple(s for s in self.setting if s.kind == "factor")
