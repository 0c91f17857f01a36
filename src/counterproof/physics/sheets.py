"""Sheets of material between source and detector: covers and absorbers."""

from __future__ import annotations

import re
from dataclasses import dataclass

from counterproof.errors import UserError
from counterproof.physics.materials import Material, material
from counterproof.texts import text

_LENGTHS_CM = {"nm": 1e-7, "µm": 1e-4, "um": 1e-4, "μm": 1e-4, "mm": 0.1, "cm": 1.0, "m": 100.0}
_AREAL_G_CM2 = {
    "mg/cm²": 1e-3,
    "mg/cm2": 1e-3,
    "mg/cm^2": 1e-3,
    "g/cm²": 1.0,
    "g/cm2": 1.0,
    "g/cm^2": 1.0,
}


@dataclass(frozen=True)
class Sheet:
    """A plane layer.

    Args:
        material: what it is made of.
        thickness_cm: geometric thickness; not negative.
    """

    material: Material
    thickness_cm: float

    @property
    def areal_g_cm2(self) -> float:
        """Mass per area, g/cm²."""
        return self.thickness_cm * self.material.density_g_cm3


def sheet(
    name: str,
    thickness_mm: float | None = None,
    areal_density_mg_cm2: float | None = None,
    density_g_cm3: float | None = None,
) -> Sheet:
    """Make a sheet from a thickness or a mass per area.

    Raises:
        UserError: unknown material, negative thickness, or not exactly one of the two given.
    """
    if (thickness_mm is None) == (areal_density_mg_cm2 is None):
        raise UserError(text("physics.one_thickness", material=name))
    given = thickness_mm if thickness_mm is not None else areal_density_mg_cm2
    if given is None or not 0.0 <= given < float("inf"):
        raise UserError(text("physics.negative_thickness", material=name))
    if density_g_cm3 is None and areal_density_mg_cm2 is not None:
        try:
            medium = material(name)
        except UserError:
            medium = material(name, 1.0)  # a formula: mass per area needs no density
    else:
        medium = material(name, density_g_cm3)
    if thickness_mm is not None:
        return Sheet(medium, thickness_mm * 0.1)
    return Sheet(medium, given * 1e-3 / medium.density_g_cm3)


def parse_sheet(written: str) -> Sheet:
    """Read ``"PMMA 3 mm"``, ``"Al 50 mg/cm²"`` or ``"SnO2 6.9 g/cm³ 2 µm"``.

    Raises:
        UserError: when it is not a material followed by a thickness with its unit.
    """
    match = re.fullmatch(
        r"\s*(?P<name>.+?)\s+(?:(?P<density>[0-9.,]+)\s*g/cm(?:³|3|\^3)\s+)?"
        r"(?P<value>[-+0-9.,eE]+)\s*(?P<unit>[^\s0-9.]\S*)\s*",
        written,
    )
    if match is None:
        raise UserError(text("physics.sheet_form", written=written))
    unit = match["unit"]
    try:
        value = float(match["value"].replace(",", "."))
        density = float(match["density"].replace(",", ".")) if match["density"] else None
    except ValueError:
        raise UserError(text("physics.sheet_form", written=written)) from None
    if unit in _LENGTHS_CM:
        return sheet(match["name"], value * _LENGTHS_CM[unit] * 10.0, None, density)
    if unit in _AREAL_G_CM2:
        return sheet(match["name"], None, value * _AREAL_G_CM2[unit] * 1e3, density)
    raise UserError(text("physics.sheet_form", written=written))
