"""Layers of material: walls, filters, linings, windows, covers and absorbers."""

from __future__ import annotations

from typing import Self

from pydantic import Field, model_validator

from counterproof.kit.base import KitPart
from counterproof.kit.fields import Density, MassPerArea, Millimetres, MillimetresOrZero, Span, said
from counterproof.texts import text


class Layer(KitPart):
    """A sheet of one material.

    ``material`` is a name or formula; its thickness is given in mm or as mass per area, either of
    which may be a range. ``density_g_cm3`` overrides the tabulated density.
    """

    material: str
    thickness_mm: Millimetres | None = None
    areal_density_mg_cm2: MassPerArea | None = None
    density_g_cm3: Density | None = None

    @model_validator(mode="after")
    def _known_material(self) -> Self:
        from counterproof.physics.materials import material

        if self.thickness_mm is not None and self.areal_density_mg_cm2 is not None:
            raise ValueError(text("kit.two_thicknesses"))
        density = self.density_g_cm3
        if density is None and self.areal_density_mg_cm2 is not None:
            density = Span(1.0, 1.0)  # mass per area needs none: check the name alone
        said(material, self.material, density.middle if density else None)
        return self


class SizedLayer(Layer):
    """A layer whose thickness must be given."""

    @model_validator(mode="after")
    def _sized(self) -> Self:
        if self.thickness_mm is None and self.areal_density_mg_cm2 is None:
            raise ValueError(text("kit.no_thickness", material=self.material))
        return self


class Filter(SizedLayer):
    """A sleeve around a tube, from the wall outwards.

    ``coverage`` is the share of the side that it covers (1 less the open fraction), ``gap_mm``
    the air between it and what it surrounds; ``ends`` says whether it covers the flat ends too.
    """

    coverage: float = Field(default=1.0, gt=0, le=1)
    gap_mm: MillimetresOrZero | None = None
    ends: bool = False


class Window(SizedLayer):
    """A thin end window."""

    radius_mm: Millimetres | None = None
