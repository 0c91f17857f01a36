"""A Geiger-Müller tube as TOML: only its outer diameter and length must be known."""

from __future__ import annotations

from itertools import pairwise
from typing import ClassVar, Literal, Self

from pydantic import Field, model_validator

from counterproof.kit.base import KitItem, KitPart
from counterproof.kit.fields import (
    CountsPerMinute,
    Kilopascals,
    Megohms,
    Microseconds,
    Millimetres,
    NuclideName,
    Picofarads,
    Volts,
    said,
)
from counterproof.kit.layers import Filter, Layer, Window
from counterproof.quantities import Sensitivity, parse_sensitivity
from counterproof.quantities.sensitivity import DoseQuantity
from counterproof.texts import text


class Gas(KitPart):
    """The counting gas and the space it fills."""

    fill: str | None = None
    pressure_kpa: Kilopascals | None = None
    radius_mm: Millimetres | None = None
    length_mm: Millimetres | None = None


class Anode(KitPart):
    """The central wire."""

    diameter_mm: Millimetres
    material: str = "W"


class Datasheet(KitPart):
    """What the tube's data sheet says; ``source`` names the sheet and its date."""

    sensitivity: str | None = None
    nuclide: NuclideName | None = None
    quantity: DoseQuantity | None = None
    dead_time_us: Microseconds | None = None
    start_v: Volts | None = None
    plateau_low_v: Volts | None = None
    plateau_high_v: Volts | None = None
    recommended_v: Volts | None = None
    maximum_v: Volts | None = None
    plateau_slope_percent_per_100v: float | None = Field(default=None, ge=0)
    anode_resistor_mohm: Megohms | None = None
    capacitance_pf: Picofarads | None = None
    background_cpm: CountsPerMinute | None = None
    source: str = ""

    @model_validator(mode="after")
    def _consistent(self) -> Self:
        if self.sensitivity is not None:
            said(parse_sensitivity, self.sensitivity, self.nuclide or "", self.quantity)
        ladder = [
            (n, getattr(self, n).middle)
            for n in ("start_v", "plateau_low_v", "plateau_high_v", "maximum_v")
            if getattr(self, n) is not None
        ]
        for (below, low), (above, high) in pairwise(ladder):
            if low > high:
                raise ValueError(text("kit.voltages", below=below, above=above))
        return self

    def read_sensitivity(self) -> Sensitivity | None:
        """Return the sensitivity with its nuclide and quantity, if the sheet gives one."""
        if self.sensitivity is None:
            return None
        return parse_sensitivity(self.sensitivity, self.nuclide or "", self.quantity)


class Tube(KitItem):
    """A tube: coaxial layers around a gas, perhaps an end window.

    Give ``outer_diameter_mm`` and ``length_mm``, or the gas's radius and length; everything else
    may be absent or a range such as ``"0.1..0.3 mm"``. ``construction`` says which documented
    spread stands in for what is absent. The wall has flat ends of its own unless a window
    replaces one; ``filter`` lists sleeves from the wall outwards.
    """

    table: ClassVar[str] = "tube"

    description: str = ""
    form: Literal["slim", "pancake"] = "slim"
    construction: Literal["thin metal", "thick metal", "glass", "mica window"] | None = None
    outer_diameter_mm: Millimetres | None = None
    length_mm: Millimetres | None = None
    gas: Gas = Gas()
    wall: Layer | None = None
    filter: tuple[Filter, ...] = ()
    lining: Layer | None = None
    window: Window | None = None
    anode: Anode | None = None
    datasheet: Datasheet = Datasheet()

    @model_validator(mode="after")
    def _has_a_size(self) -> Self:
        gas = self.gas
        outside = self.outer_diameter_mm is not None and self.length_mm is not None
        inside = gas.radius_mm is not None and gas.length_mm is not None
        if not outside and not inside:
            raise ValueError(text("kit.no_size"))
        outer, length = self.outer_diameter_mm, self.length_mm
        if gas.radius_mm and outer and 2 * gas.radius_mm.low > outer.high:
            raise ValueError(text("kit.gas_too_wide"))
        if gas.length_mm and length and gas.length_mm.low > length.high:
            raise ValueError(text("kit.gas_too_long"))
        radius = outer.high / 2 if outer else None
        if self.window and self.window.radius_mm and radius and self.window.radius_mm.low > radius:
            raise ValueError(text("kit.window_too_wide"))
        if self.anode and gas.radius_mm and self.anode.diameter_mm.low > 2 * gas.radius_mm.high:
            raise ValueError(text("kit.anode_too_thick"))
        return self
