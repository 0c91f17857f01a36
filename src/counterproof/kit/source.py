"""A check source as TOML: nuclides, activity at a date if known, form, cover, matrix."""

from __future__ import annotations

import datetime as dt
import math
from collections.abc import Mapping
from typing import ClassVar, Literal, Self

from pydantic import Field, model_validator

from counterproof.errors import UserError
from counterproof.kit.base import KitItem, KitPart
from counterproof.kit.fields import (
    ActivityText,
    MassText,
    Millimetres,
    NuclideName,
    Share,
    said,
    share_of,
    uncertainty_of,
)
from counterproof.kit.layers import Layer, SizedLayer
from counterproof.quantities import Estimate, parse_quantity
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

    nuclide: NuclideName
    fraction: float = Field(default=1.0, gt=0)


class Composition(KitPart):
    """What is not a sealed source: ore, glaze, metal, paint, salt.

    ``equilibrium`` is the activity of the chain's later members relative to the head;
    ``radon_retention`` the share of radon that stays inside; ``separation_date`` when the head was
    chemically separated (then ingrowth is reckoned from it instead of ``equilibrium``).
    """

    kind: Literal["ore", "glaze", "metal", "paint", "salt", "glass", "other"]
    equilibrium: Share = 1.0
    radon_retention: Share = 1.0
    separation_date: dt.date | None = None
    mass: MassText | None = None

    @property
    def equilibrium_share(self) -> float:
        """Equilibrium as a number between 0 and 1."""
        return share_of(self.equilibrium)

    @property
    def radon_share(self) -> float:
        """Radon retention as a number between 0 and 1."""
        return share_of(self.radon_retention)


class Source(KitItem):
    """A check source.

    Activity and its uncertainty (one standard uncertainty) may be absent: then shape and ratios
    alone are known. ``matrix`` is the material that holds the activity of a disc or cylinder.
    """

    table: ClassVar[str] = "source"

    description: str = ""
    nuclide: NuclideName | None = None
    nuclides: tuple[Portion, ...] = ()
    activity: ActivityText | None = None
    activity_uncertainty: str | None = None
    reference_date: dt.date | None = None
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

    def activity_at(
        self, day: dt.date, half_lives_s: Mapping[str, float] | None = None
    ) -> Estimate:
        """Return the activity on ``day`` in Bq, summed over the nuclides that are listed.

        Plain decay A·2^(−t/T½) of each portion from the reference date; daughters that grow in are
        the concern of ``physics.nuclides``. The uncertainty is the stated one, scaled; the
        half-life's is negligible beside it.

        Args:
            day: the date asked for.
            half_lives_s: half-life of each nuclide in s; looked up in ICRP-107 data if absent.

        Raises:
            UserError: if the activity is unknown, a nuclide is unknown, or ``day`` lies before the
                reference date.
        """
        if self.activity is None or self.reference_date is None:
            raise UserError(text("kit.activity_unknown", name=self.name))
        days = (day - self.reference_date).days
        if days < 0:
            raise UserError(
                text("kit.before_reference", name=self.name, day=day, reference=self.reference_date)
            )
        factor = 0.0
        for portion in self.portions:
            t = (half_lives_s or {}).get(portion.nuclide) or half_life_s(portion.nuclide)
            factor += portion.fraction * 2.0 ** (-days * 86400.0 / t)
        value, u = self.activity_bq * factor, self.activity_u_bq * factor
        half = 1.959964 * u
        return Estimate(value, u, max(0.0, value - half), value + half, 0.95, "Bq", None, "decay")


def half_life_s(nuclide: str) -> float:
    """Return a half-life in s from ICRP-107 data.

    Raises:
        UserError: if the nuclide is unknown there.
    """
    import radioactivedecay as rd  # late: takes seconds

    try:
        return float(rd.Nuclide(nuclide).half_life("s"))
    except ValueError:
        raise UserError(text("kit.no_half_life", nuclide=nuclide)) from None
