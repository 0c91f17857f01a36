"""A probe: a housing with a tube, its resistor, a cable, perhaps a filter and a window."""

from __future__ import annotations

from typing import ClassVar, Literal

from pydantic import Field

from counterproof.kit.base import KitItem, KitPart
from counterproof.kit.fields import (
    LengthText,
    Millimetres,
    Picofarads,
    PicofaradsPerMetre,
    ResistanceText,
    VoltageText,
)
from counterproof.kit.layers import Filter, SizedLayer


class Cable(KitPart):
    """The cable between probe and box."""

    kind: str = ""
    length: LengthText
    capacitance_pf_per_m: PicofaradsPerMetre | None = None
    rated: VoltageText | None = None


class Housing(KitPart):
    """What surrounds the tube; ``window`` is the part that faces the source."""

    outer_diameter_mm: Millimetres | None = None
    length_mm: Millimetres | None = None
    wall: SizedLayer | None = None
    window: SizedLayer | None = None
    open_fraction: float | None = Field(default=None, ge=0, le=1)


class Probe(KitItem):
    """A probe.

    ``resistor_at`` says at which end of the cable the anode resistor sits: at the tube, where it
    belongs, or in the box, where the cable's capacitance loads the anode.
    """

    table: ClassVar[str] = "probe"

    description: str = ""
    tube: str
    anode_resistor: ResistanceText | None = None
    resistor_at: Literal["tube", "box"] = "tube"
    stray_pf: Picofarads | None = None
    cable: Cable | None = None
    filter: tuple[Filter, ...] = ()
    housing: Housing | None = None
    photos: tuple[str, ...] = ()
