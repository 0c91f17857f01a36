"""Data-sheet sensitivities: counts per dose rate, for a nuclide and a dose quantity.

``20 cps/(mR/h)`` for Co-60 and ``140 cpm/(µSv/h)`` for Cs-137 cannot be compared as they stand:
the quantity differs (exposure, air kerma, H*(10)), and so does the radiation. Converting the
quantity is done here, explicitly, and says which coefficients it used; converting from one
nuclide to another is the tube's energy response and needs physics, not a factor.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

from counterproof.errors import UserError
from counterproof.quantities.units import convert, split_quantity
from counterproof.texts import text

DoseQuantity = Literal["exposure", "air_kerma", "h10"]

GY_PER_R = 2.58e-4 * 33.97
"""Air collision kerma per exposure, Gy/R: 1 R = 2.58e-4 C/kg (definition) times W/e = 33.97 J/C
(ICRU Report 31 value; from memory), 8.764 mGy."""

H10_PER_KERMA = {"Am-241": 1.737, "Cs-137": 1.203, "Co-60": 1.159}
"""H*(10) per air kerma, Sv/Gy: ICRP Publication 74, Table A.21, interpolated in log energy at
59.54, 661.66 and 1252 keV (the mean of both lines)."""

_UNITS: dict[DoseQuantity, str] = {
    "exposure": "cps/(R/h)",
    "air_kerma": "cps/(Gy/h)",
    "h10": "cps/(Sv/h)",
}


@dataclass(frozen=True, slots=True)
class Conversion:
    """A sensitivity in another quantity or unit, with what the conversion relied on.

    Args:
        value: in ``unit``.
        unit: as asked for.
        coefficients: each coefficient used, in words with its source; empty for a mere change
            of unit.
    """

    value: float
    unit: str
    coefficients: tuple[str, ...] = ()


@dataclass(frozen=True, slots=True)
class Sensitivity:
    """Counts per dose rate as a data sheet states it.

    Args:
        value: in ``unit``, positive.
        unit: such as ``"cps/(mR/h)"``.
        nuclide: radiation it is stated for, such as ``"Co-60"``; empty if the sheet is silent.
        quantity: dose quantity of the denominator.
    """

    value: float
    unit: str
    nuclide: str
    quantity: DoseQuantity

    def to(self, unit: str, h10_per_kerma: float | None = None) -> Conversion:
        """Return the sensitivity in ``unit``, for the same nuclide.

        Args:
            unit: such as ``"cpm/(µSv/h)"``; R, Gy or Sv in it says the quantity.
            h10_per_kerma: Sv/Gy for the nuclide; looked up in :data:`H10_PER_KERMA` if absent.

        Raises:
            UserError: if the unit is no sensitivity or no coefficient is known for the nuclide.
        """
        wanted = quantity_of(unit)
        if wanted == self.quantity:
            return Conversion(convert(self.value, self.unit, unit), unit)
        per_gray, used = self._per_gray(h10_per_kerma)
        factor, more = self._from_gray(wanted, h10_per_kerma)
        return Conversion(convert(per_gray * factor, _UNITS[wanted], unit), unit, used + more)

    def _per_gray(self, h: float | None) -> tuple[float, tuple[str, ...]]:
        """Counts per second per (Gy/h) of air kerma, with the coefficients used."""
        base = convert(self.value, self.unit, _UNITS[self.quantity])
        if self.quantity == "air_kerma":
            return base, ()
        if self.quantity == "exposure":
            return base / GY_PER_R, (_roentgen_note(),)
        coefficient, note = self._h(h)
        return base * coefficient, (note,)

    def _from_gray(self, wanted: DoseQuantity, h: float | None) -> tuple[float, tuple[str, ...]]:
        if wanted == "air_kerma":
            return 1.0, ()
        if wanted == "exposure":
            return GY_PER_R, (_roentgen_note(),)
        coefficient, note = self._h(h)
        return 1.0 / coefficient, (note,)

    def _h(self, given: float | None) -> tuple[float, str]:
        if given is not None:
            return given, text("quantities.used_h10_given", value=f"{given:.4g}")
        if self.nuclide not in H10_PER_KERMA:
            known = ", ".join(sorted(H10_PER_KERMA))
            raise UserError(text("quantities.bad_nuclide", nuclide=self.nuclide, known=known))
        value = H10_PER_KERMA[self.nuclide]
        return value, text("quantities.used_h10", value=f"{value:.4g}", nuclide=self.nuclide)


def _roentgen_note() -> str:
    return text("quantities.used_roentgen", value=f"{GY_PER_R:.4g}")


def quantity_of(unit: str) -> DoseQuantity:
    """Return the dose quantity that the unit of a sensitivity implies (Sv is read as H*(10)).

    Raises:
        UserError: if the unit is not counts per dose rate.
    """
    for quantity, base in _UNITS.items():
        try:
            convert(1.0, unit, base)
        except UserError:
            continue
        return quantity
    raise UserError(text("quantities.bad_sensitivity", given=unit))


def parse_sensitivity(
    written: str, nuclide: str, quantity: DoseQuantity | None = None
) -> Sensitivity:
    """Read a data-sheet sensitivity such as ``"20 cps/(mR/h)"``.

    Args:
        written: number and unit.
        nuclide: radiation it is stated for; empty if not stated.
        quantity: checked against the unit when given.

    Raises:
        UserError: if it is not a positive count rate per dose rate, or the quantity contradicts.
    """
    value, unit = split_quantity(written)
    implied = quantity_of(unit)
    if quantity is not None and quantity != implied:
        raise UserError(
            text(
                "quantities.sensitivity_quantity",
                given=written,
                unit_quantity=text(f"quantities.quantity.{implied}"),
                quantity=text(f"quantities.quantity.{quantity}"),
            )
        )
    if not value > 0:
        raise UserError(text("quantities.sensitivity_sign", given=written))
    return Sensitivity(value, unit, nuclide, implied)
