"""A check source as TOML: nuclides, activity at a date if known, form, cover, matrix."""

from __future__ import annotations

import datetime as dt
import math
from typing import ClassVar, Literal, Self

from pydantic import Field, model_validator

from counterproof.errors import UserError
from counterproof.kit.base import KitItem, KitPart
from counterproof.kit.fields import (
    ActivityText,
    MassText,
    Millimetres,
    NuclideOrMaterial,
    Share,
    said,
    share_of,
    uncertainty_of,
)
from counterproof.kit.layers import Layer, SizedLayer
from counterproof.quantities import Estimate, coverage_factor, parse_quantity
from counterproof.texts import text

_SIZES: dict[str, tuple[str, ...]] = {
    "point": (),
    "disc": ("diameter_mm",),
    "line": ("length_mm",),
    "cylinder": ("diameter_mm", "length_mm"),
}


class Portion(KitPart):
    """One nuclide of several: its activity as a share of the stated activity.

    A parent with its daughter in equilibrium are two portions of 1 each.
    """

    nuclide: NuclideOrMaterial
    fraction: float = Field(default=1.0, gt=0)


class Composition(KitPart):
    """The state of a decay chain, for ore, glaze, metal, paint and the like.

    ``equilibrium`` says which daughters were there at the reference date: ``"none"``,
    ``"short-lived"`` (those that live less than a year) or ``"full"``; absent, the material's own
    state holds. ``radon_retention`` is the share of radon that stays inside.
    """

    equilibrium: Literal["none", "short-lived", "full"] | None = None
    radon_retention: Share = 1.0
    mass: MassText | None = None

    @property
    def radon_share(self) -> float:
        """Radon retention as a number between 0 and 1."""
        return share_of(self.radon_retention)


class Source(KitItem):
    """A check source.

    ``nuclide`` is a nuclide or a source material (``"uranium ore"``, ``"thorium"``, …), whose
    activity is that of the chain's head.
    Activity and its uncertainty (one standard uncertainty) may be absent: then shape and ratios
    alone are known. ``certificate`` is the activity's certificate (laboratory, number), with which
    the activity is ``traceable``. ``matrix`` is the material that holds the activity of a disc or
    cylinder.
    """

    table: ClassVar[str] = "source"

    description: str = ""
    nuclide: NuclideOrMaterial | None = None
    nuclides: tuple[Portion, ...] = ()
    activity: ActivityText | None = None
    activity_uncertainty: str | None = None
    reference_date: dt.date | None = None
    certificate: str = ""
    traceable: bool = False
    form: Literal["point", "disc", "line", "cylinder"] = "point"
    diameter_mm: Millimetres | None = None
    length_mm: Millimetres | None = None
    cover: tuple[SizedLayer, ...] = ()
    matrix: Layer | None = None
    composition: Composition | None = None
    photos: tuple[str, ...] = ()

    @model_validator(mode="after")
    def _complete(self) -> Self:
        if (self.nuclide is None) == (not self.nuclides):
            raise ValueError(text("kit.which_nuclide"))
        names = [p.nuclide for p in self.nuclides]
        if len(set(names)) < len(names):
            raise ValueError(text("kit.nuclide_twice"))
        if self.activity is not None and self.reference_date is None:
            raise ValueError(text("kit.no_reference_date"))
        if self.activity_uncertainty is not None:
            if self.activity is None:
                raise ValueError(text("kit.uncertainty_alone"))
            u = said(uncertainty_of, self.activity_uncertainty, self.activity_bq, "Bq")
            if not u >= 0:
                raise ValueError(text("kit.must_reach", given=self.activity_uncertainty, bound=0))
        if self.traceable and not (self.certificate and self.activity_uncertainty):
            raise ValueError(text("kit.traceable_without"))
        for key in _SIZES[self.form]:
            if getattr(self, key) is None:
                raise ValueError(text("kit.form_needs", form=self.form, key=key))
        return self

    @property
    def activity_bq(self) -> float:
        """Stated activity in Bq; NaN if unknown."""
        return math.nan if self.activity is None else parse_quantity(self.activity, "Bq")

    @property
    def activity_u_bq(self) -> float:
        """Its standard uncertainty in Bq; infinite if unknown."""
        if self.activity_uncertainty is None or self.activity is None:
            return math.inf
        return uncertainty_of(self.activity_uncertainty, self.activity_bq, "Bq")

    @property
    def portions(self) -> tuple[Portion, ...]:
        """Its nuclides, one or several."""
        if self.nuclide is not None:
            return (Portion(nuclide=self.nuclide),)
        return self.nuclides

    def activity_at(self, day: dt.date) -> Estimate:
        """Return the activity on ``day`` in Bq: of the chain's head, summed over portions.

        Plain decay A·2^(−t/T½) from the reference date with ICRP-107 half-lives; what grows in is
        the concern of ``physics.nuclides``. The half-life's uncertainty is carried along.

        Raises:
            UserError: if the activity is unknown or ``day`` lies before the reference date.
        """
        from counterproof.physics.decaydata import half_life_s
        from counterproof.physics.nuclides import HALF_LIFE_RELATIVE_U, recipe_of

        if self.activity is None or self.reference_date is None:
            raise UserError(text("kit.activity_unknown", name=self.name))
        days = (day - self.reference_date).days
        if days < 0:
            raise UserError(
                text("kit.before_reference", name=self.name, day=day, reference=self.reference_date)
            )
        factor = slope = 0.0
        for portion in self.portions:
            lives = days * 86400.0 / half_life_s(recipe_of(portion.nuclide).lead)
            left = portion.fraction * 2.0**-lives
            factor += left
            slope += left * math.log(2.0) * lives
        value = self.activity_bq * factor
        u = math.hypot(self.activity_u_bq * factor, self.activity_bq * slope * HALF_LIFE_RELATIVE_U)
        half = coverage_factor(0.95) * u
        return Estimate(value, u, max(0.0, value - half), value + half, 0.95, "Bq", None, "decay")
