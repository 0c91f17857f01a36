"""A position: where source and instrument stand."""

from __future__ import annotations

from typing import ClassVar

from counterproof.kit.base import KitItem
from counterproof.kit.fields import Degrees, LengthText, Span
from counterproof.kit.layers import SizedLayer
from counterproof.quantities import parse_quantity


class Position(KitItem):
    """A place on the bench that runs can refer to.

    ``distance`` runs from the source to the tube's effective centre; ``angle_deg`` from the
    calibration direction. A place without source has no distance.
    """

    table: ClassVar[str] = "position"

    description: str = ""
    distance: LengthText | None = None
    distance_uncertainty: LengthText | None = None
    angle_deg: Degrees = Span(0.0, 0.0)
    absorber: tuple[SizedLayer, ...] = ()
    photos: tuple[str, ...] = ()

    @property
    def distance_mm(self) -> float | None:
        """Distance in mm."""
        return None if self.distance is None else parse_quantity(self.distance, "mm")

    @property
    def distance_u_mm(self) -> float | None:
        """Its standard uncertainty in mm."""
        given = self.distance_uncertainty
        return None if given is None else parse_quantity(given, "mm")
