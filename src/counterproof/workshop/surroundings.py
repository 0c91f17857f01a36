"""What surrounds a run, as people type it: absorbers, angle, conditions.

What to use when: :func:`typed_position` for where source and counter stand, with what lies between
and how the counter is turned; :func:`typed_conditions` for everything that the trials read beside
the signals (``records.run.CONDITIONS``).
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from difflib import get_close_matches

from counterproof.errors import UserError
from counterproof.physics.elements import ELEMENTS
from counterproof.physics.materials import Material
from counterproof.physics.sheets import parse_sheet
from counterproof.quantities import convert, parse_quantity, split_quantity
from counterproof.records.run import CONDITIONS, Absorber, Position
from counterproof.texts import text

_YES = {"yes": "1", "true": "1", "1": "1", "no": "0", "false": "0", "0": "0"}
_PER_SECOND = "injected_per_s"


def typed_position(
    *,
    distance: str | None = None,
    distance_uncertainty: str | None = None,
    angle: str | None = None,
    absorbers: Sequence[str] = (),
    place: str = "",
) -> Position:
    """Return a run's position from what was typed, such as ``"5 cm"``, ``"1 mm"``, ``"45°"``.

    Raises:
        UserError: if a part cannot be read or cannot be.
    """
    lengths: list[float | None] = []
    for written in (distance, distance_uncertainty):
        value = None if written is None else parse_quantity(written, "mm")
        if value is not None and not (math.isfinite(value) and value > 0.0):
            raise UserError(text("workshop.which_distance", given=written))
        lengths.append(value)
    return Position(
        place=place,
        distance_mm=lengths[0],
        distance_u_mm=lengths[1],
        angle_deg=0.0 if angle is None else typed_angle(angle),
        absorbers=typed_absorbers(absorbers),
    )


def typed_absorbers(written: Sequence[str]) -> tuple[Absorber, ...]:
    """Return plates such as ``"Al 50 mg/cm²"`` or ``"PMMA 3 mm"``, from the source outwards.

    They are kept as mass per area, so that equal plates are equal however they were typed.

    Raises:
        UserError: if one is not a known material followed by a thickness above zero.
    """
    plates = []
    for each in written:
        made = parse_sheet(each)
        areal = float(f"{1e3 * made.areal_g_cm2:.6g}")
        if areal <= 0.0:
            raise UserError(text("workshop.no_thickness", given=each))
        plates.append(Absorber(material=_name(made.material), areal_density_mg_cm2=areal))
    return tuple(plates)


def _name(medium: Material) -> str:
    """Return one name for a material: the symbol of an element, however it was spelt."""
    elements = list(medium.mass_fractions)
    return ELEMENTS[elements[0]].symbol if len(elements) == 1 else medium.name


def typed_angle(written: str) -> float:
    """Return an angle in degrees from ``"45"``, ``"45°"`` or ``"0.5 rad"``, between -180 and 180.

    Raises:
        UserError: if it is no angle.
    """
    value, unit = split_quantity(written)
    degrees = math.degrees(value) if unit == "rad" else convert(value, unit or "°", "°")
    if not -360.0 <= degrees <= 360.0:
        raise UserError(text("workshop.which_angle", given=written))
    turned = (degrees + 180.0) % 360.0 - 180.0
    return 180.0 if turned == -180.0 else turned


def typed_conditions(written: Sequence[str]) -> dict[str, float | str]:
    """Return conditions such as ``"voltage=400 V"``, ``"light=dark"`` or ``"step=2 min"``.

    Names may leave out the unit at their end; numbers may leave out their unit when the name says
    it. Names and allowed words are those of :data:`counterproof.records.run.CONDITIONS`.

    Raises:
        UserError: for what is no ``name=value``, an unknown name, a wrong word or unit, a number
            that cannot be, or a name given twice.
    """
    found: dict[str, float | str] = {}
    for each in written:
        name, sign, value = (part.strip() for part in each.partition("="))
        if not sign or not name or not value:
            raise UserError(text("workshop.condition_form", given=each))
        key = _key(name)
        if key in found:
            raise UserError(text("workshop.condition_twice", name=key))
        found[key] = _value(key, value)
    return found


def _key(name: str) -> str:
    """Return the full name of a condition."""
    plain = name.lower().replace("-", "_").replace(" ", "_")
    if plain in CONDITIONS:
        return plain
    short = {_short(key): key for key in CONDITIONS}
    if plain in short:
        return short[plain]
    near = get_close_matches(plain, [*CONDITIONS, *short], n=1)
    hint = near[0] if near else ", ".join(short)
    raise UserError(text("workshop.no_condition", name=name, hint=hint))


def _short(key: str) -> str:
    """Return a condition's name without the unit at its end."""
    stem, _, last = key.rpartition("_")
    if key == _PER_SECOND:
        return "injected"
    return stem if isinstance(CONDITIONS[key], str) and CONDITIONS[key] and last else key


def _value(key: str, written: str) -> float | str:
    allowed = CONDITIONS[key]
    if isinstance(allowed, tuple):
        word = written.lower()
        word = _YES.get(word, word) if allowed == ("0", "1") else word
        if word not in allowed:
            words = ", ".join(allowed) if allowed != ("0", "1") else "yes, no"
            raise UserError(text("workshop.condition_word", name=key, given=written, words=words))
        return word
    if not allowed:
        return written
    number, unit = split_quantity(written)
    if key == _PER_SECOND and unit in ("Hz", "kHz"):
        value = convert(number, unit, "Hz")
    else:
        value = convert(number, unit or allowed, allowed)
    least = -273.15 if key == "temperature_c" else 0.0
    if not math.isfinite(value) or value < least or (value == 0.0 and key != "temperature_c"):
        raise UserError(text("workshop.condition_number", name=key, given=written))
    return value
