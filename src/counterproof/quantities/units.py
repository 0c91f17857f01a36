"""Units as people type them, read at the boundary into plain floats.

``parse_quantity("25 µR/h", "mR/h")`` gives ``0.025``. Counts, decays, exposure (R), absorbed dose
(Gy) and dose equivalent (Sv) are dimensions of their own here: a becquerel is no count rate, and
sievert and gray never turn into each other by themselves, because that takes a coefficient which
depends on the radiation (see :mod:`counterproof.quantities.sensitivity`).

Units in daily use are looked up in a table; any other combination goes to ``pint``, which is
imported only then because it costs a third of a second.
"""

from __future__ import annotations

import difflib
import re
from functools import cache
from tokenize import TokenError
from typing import Any

from counterproof.errors import UserError
from counterproof.quantities.numerals import NUMBER, SPACES, parse_number
from counterproof.texts import text

# (dimension, factor to the dimension's base unit); a test holds every line against pint.
_RATE, _SV, _GY, _R = "[count] / [time]", "[equivalent]", "[absorbed]", "[exposure]"
_COMMON: dict[str, tuple[str, float]] = {
    "m": ("[length]", 1.0),
    "cm": ("[length]", 1e-2),
    "mm": ("[length]", 1e-3),
    "µm": ("[length]", 1e-6),
    "s": ("[time]", 1.0),
    "ms": ("[time]", 1e-3),
    "µs": ("[time]", 1e-6),
    "min": ("[time]", 60.0),
    "h": ("[time]", 3600.0),
    "d": ("[time]", 86400.0),
    "Bq": ("[decay] / [time]", 1.0),
    "kBq": ("[decay] / [time]", 1e3),
    "MBq": ("[decay] / [time]", 1e6),
    "µCi": ("[decay] / [time]", 3.7e4),
    "cps": (_RATE, 1.0),
    "cpm": (_RATE, 1 / 60),
    "Sv/h": (f"{_SV} / [time]", 1 / 3600),
    "mSv/h": (f"{_SV} / [time]", 1e-3 / 3600),
    "µSv/h": (f"{_SV} / [time]", 1e-6 / 3600),
    "µGy/h": (f"{_GY} / [time]", 1e-6 / 3600),
    "mR/h": (f"{_R} / [time]", 1e-3 / 3600),
    "µR/h": (f"{_R} / [time]", 1e-6 / 3600),
    "µSv": (_SV, 1e-6),
    "mSv": (_SV, 1e-3),
    "V": ("[mass] * [length] ** 2 / [current] / [time] ** 3", 1.0),
    "%": ("dimensionless", 0.01),
    "": ("dimensionless", 1.0),
}

_DEFINITIONS = """
pico- = 1e-12 = p-
nano- = 1e-9 = n-
micro- = 1e-6 = µ- = u-
milli- = 1e-3 = m-
centi- = 1e-2 = c-
kilo- = 1e3 = k-
mega- = 1e6 = M-
giga- = 1e9 = G-
second = [time] = s = sec
minute = 60 * second = min
hour = 3600 * second = h = hr
day = 86400 * second = d
year = 365.25 * day = a = yr
hertz = 1 / second = Hz
meter = [length] = m = metre
inch = 0.0254 * meter = in
liter = 1e-3 * meter ** 3 = l = L = litre
kilogram = [mass] = kg
gram = 1e-3 * kilogram = g
ampere = [current] = A
volt = kilogram * meter ** 2 / ampere / second ** 3 = V
ohm = volt / ampere = Ω
farad = ampere * second / volt = F
coulomb = ampere * second = C
ampere_hour = 3600 * coulomb = Ah
watt = volt * ampere = W
watt_hour = 3600 * watt * second = Wh
joule = watt * second = J
electronvolt = 1.602176634e-19 * joule = eV
newton = kilogram * meter / second ** 2 = N
pascal = newton / meter ** 2 = Pa
bar = 1e5 * pascal
atmosphere = 101325 * pascal = atm
torr = 101325 / 760 * pascal = Torr = mmHg
kelvin = [temperature] = K
celsius = [celsius_temperature] = degC
degree = [angle] = deg
percent = 0.01
count = [count] = counts = pulse = pulses
cps = count / second
cpm = count / minute
decay = [decay] = decays
becquerel = decay / second = Bq
curie = 3.7e10 * becquerel = Ci
dpm = decay / minute
sievert = [equivalent] = Sv
rem = 1e-2 * sievert
gray = [absorbed] = Gy
rad = 1e-2 * gray
roentgen = [exposure] = R
"""

# Human names of dimensions, by a unit that has each; the sentence's example is that unit.
_NAMED = {
    "length": "cm",
    "time": "min",
    "activity": "kBq",
    "count_rate": "cps",
    "counts": "counts",
    "equivalent_rate": "µSv/h",
    "equivalent": "µSv",
    "absorbed_rate": "µGy/h",
    "absorbed": "µGy",
    "exposure_rate": "mR/h",
    "exposure": "mR",
    "voltage": "V",
    "resistance": "MΩ",
    "capacitance": "pF",
    "current": "mA",
    "charge": "mAh",
    "pressure": "kPa",
    "areal_density": "mg/cm²",
    "density": "g/cm³",
    "mass": "g",
    "energy": "keV",
    "frequency": "Hz",
    "angle": "°",
    "temperature": "°C",
    "share": "%",
    "sensitivity_sv": "cpm/(µSv/h)",
    "sensitivity_gy": "cpm/(µGy/h)",
    "sensitivity_r": "cps/(mR/h)",
}
_SPELLINGS = sorted(
    {*_COMMON, *_NAMED.values(), "nSv/h", "Sv", "Gy", "R", "Ci", "mCi", "nCi", "GBq", "R/h"}
    | {"mGy/h", "g", "mg", "nF", "kΩ", "Ω", "kV", "mV", "µA", "A", "MeV", "eV", "Hz", "kHz", "mAh"}
    | {"year", "day", "hour", "minute", "second", "µg/cm²", "counts/min", "counts/s", "mrem/h"}
)


def _canonical(unit: str) -> str:
    """One spelling per unit: micro sign, ohm sign, powers and blanks made uniform."""
    u = re.sub(rf"[{SPACES}\t]+", " ", unit).strip()
    u = u.replace("μ", "µ").replace("\u2126", "Ω").replace("·", "*").replace("⋅", "*")
    u = u.replace("⁻¹", "^-1").replace("⁻²", "^-2").replace("²", "^2").replace("³", "^3")
    u = re.sub(r"\b([cmµ]?m)([23])\b", r"\1^\2", u.replace("**", "^"))
    u = re.sub(r"\bu(?=(?:Sv|Gy|R|Ci|s|m|g|A|V|F|C|Bq|rem|rad)\b)", "µ", u)
    u = re.sub(r"\bper\b", "/", u)
    u = re.sub(r"\s*([/*^()])\s*", r"\1", u)
    u = re.sub(r"\bc(?:ounts?)?/m(?:in)?\b", "cpm", u)
    u = re.sub(r"\bCPM\b", "cpm", re.sub(r"\bCPS\b", "cps", u))
    return re.sub(r"\b(Sv|R|Gy|rem)/(?:hr|hour)\b", r"\1/h", u)


@cache
def _registry() -> Any:
    import pint  # late: a third of a second

    registry: Any = pint.UnitRegistry(None)
    registry.load_definitions([line for line in _DEFINITIONS.splitlines() if line])
    return registry


@cache
def _by_pint(unit: str) -> tuple[str, float] | None:
    """Dimension and factor of a canonical spelling, or ``None`` if it means nothing."""
    if not unit:
        return _COMMON[""]
    expression = unit.replace("%", "percent").replace("°C", "degC").replace("°", "deg")
    expression = re.sub(r"(?<=[\w)]) (?=[\w(])", "*", expression.replace("^", "**"))
    # Only words, signs and small whole powers may reach pint's evaluation.
    if not re.fullmatch(r"(?:[A-Za-zµΩ]+|[*/()]|\*\*-?[1-9](?!\d)|\b1(?=/))+", expression):
        return None
    import pint

    registry = _registry()
    try:
        parsed = registry.parse_units(expression)
        factor, _ = registry.get_base_units(parsed)
    except (pint.PintError, TokenError, ValueError, TypeError, AttributeError, AssertionError):
        return None
    return str(parsed.dimensionality), float(factor)


def _lookup(unit: str) -> tuple[str, float]:
    canonical = _canonical(unit)
    found = _COMMON.get(canonical) or _by_pint(canonical)
    if found is None:
        raise UserError(text("quantities.unknown_unit", given=unit, nearest=_nearest(unit)))
    return found


def _nearest(unit: str) -> str:
    """Return the accepted spelling most like ``unit``, the case of letters aside."""
    folded: dict[str, str] = {}
    for spelling in sorted(_SPELLINGS, key=lambda s: (s not in _COMMON, len(s))):
        folded.setdefault(_canonical(spelling).lower().replace("µ", "u"), spelling)
    wanted = _canonical(unit).lower().replace("µ", "u")
    close = difflib.get_close_matches(wanted, folded, n=1, cutoff=0.5)
    return folded[close[0]] if close else "µSv/h"


def dimension_name(unit: str) -> str:
    """Return what ``unit`` measures, in words (``"a count rate"``).

    Raises:
        UserError: if the unit is not known.
    """
    dimension, _ = _lookup(unit)
    for name, example in _NAMED.items():
        if _lookup(example)[0] == dimension:
            return text(f"quantities.dimension.{name}")
    return text("quantities.dimension.other", unit=unit)


def conversion_factor(given: str, wanted: str) -> float:
    """Return the factor that turns a value in ``given`` into one in ``wanted``.

    Raises:
        UserError: if either unit is unknown or they measure different things.
    """
    if given == wanted:
        return 1.0
    (dim_given, f_given), (dim_wanted, f_wanted) = _lookup(given), _lookup(wanted)
    if dim_given != dim_wanted:
        doses = ("[equivalent]", "[absorbed]", "[exposure]")
        mixed = any(d in dim_given for d in doses) and any(d in dim_wanted for d in doses)
        key = "quantities.dose_quantities" if mixed else "quantities.wrong_dimension"
        raise UserError(
            text(
                key,
                given=given,
                given_name=dimension_name(given),
                wanted=wanted,
                wanted_name=dimension_name(wanted),
            )
        )
    return f_given / f_wanted


def convert(value: float, given: str, wanted: str) -> float:
    """Return ``value`` in unit ``wanted`` (15 significant digits, so that 0.1 stays 0.1).

    Raises:
        UserError: as :func:`conversion_factor`.
    """
    return float(f"{value * conversion_factor(given, wanted):.15g}")


def split_quantity(written: str) -> tuple[float, str]:
    """Return number and unit of a text such as ``"0,25 µSv/h"``; the unit may be empty.

    Raises:
        UserError: if the text does not start with a number.
    """
    stripped = written.strip()
    match = NUMBER.match(stripped)
    if not match:
        raise UserError(text("quantities.not_a_quantity", given=written))
    return parse_number(match.group()), stripped[match.end() :].strip()


def parse_quantity(written: str, unit: str) -> float:
    """Return what was typed as a float in ``unit``.

    Args:
        written: number and unit, such as ``"37 kBq"``, ``"10cm"``, ``"0,25 µSv/h"``.
        unit: unit of the result, which also says what kind of quantity is expected; for a pure
            number give ``""`` (``"12.5 %"`` is then 0.125).

    Raises:
        UserError: one sentence, if number or unit is missing, unknown or of the wrong kind.
    """
    value, given = split_quantity(written)
    if not given and unit not in ("",):
        raise UserError(
            text("quantities.no_unit", given=written, example=f"{written.strip()} {unit}")
        )
    return convert(value, given, unit)


_DOTS = re.compile(r"\.{2,3}|…|\bto\b|\s-\s|(?<=[\d\w%])\s*[–—]\s*(?=[\d.,])|(?<=[\d.])-(?=[\d.])")


def parse_range(written: str, unit: str) -> tuple[float, float]:
    """Return (low, high) in ``unit``; a single quantity gives itself twice.

    Args:
        written: such as ``"0.1..0.3 mm"``, ``"0.1–0.3 mm"`` or ``"100 µm to 0.3 mm"``.
        unit: unit of the result.

    Raises:
        UserError: as :func:`parse_quantity`, and if the range runs downwards.
    """
    parts = _DOTS.split(written)
    if len(parts) == 1:
        value = parse_quantity(written, unit)
        return value, value
    if len(parts) != 2:
        raise UserError(text("quantities.bad_range", given=written, unit=unit))
    high, high_unit = split_quantity(parts[1])
    low, low_unit = split_quantity(parts[0])
    if not high_unit and unit:
        raise UserError(text("quantities.no_unit", given=written, example=f"0.1..0.3 {unit}"))
    low = convert(low, low_unit or high_unit, unit)
    high = convert(high, high_unit, unit)
    if low > high:
        raise UserError(text("quantities.range_down", given=written))
    return low, high
