"""Numbers printed with the digits that their uncertainty allows.

The uncertainty gets two significant digits (GUM, JCGM 100:2008, 7.2.6) and the value as many
decimals as that; without a usable uncertainty the value gets three significant digits.
Values below 1e-4 or from 1e6 on are printed with a power of ten.
"""

from __future__ import annotations

import math
from decimal import ROUND_HALF_EVEN, Decimal
from typing import Literal

from counterproof.quantities.estimate import Estimate

Style = Literal["plus_minus", "interval", "asymmetric"]

_SUPERSCRIPTS = str.maketrans("0123456789-", "⁰¹²³⁴⁵⁶⁷⁸⁹⁻")
_INFINITY = {math.inf: "∞", -math.inf: "−∞"}


def _exponent(x: float) -> int:
    """Decimal exponent of a finite non-zero number."""
    return Decimal(repr(abs(x))).adjusted()


def _round(x: float, exponent: int) -> Decimal:
    """Round to a multiple of 10**exponent, half to even as the GUM's examples do."""
    return Decimal(repr(x)).quantize(Decimal(1).scaleb(exponent), rounding=ROUND_HALF_EVEN)


def _last_digit(u: float, significant: int, size: float = 0.0) -> int:
    """Exponent of the last digit that ``u`` allows: 0.0996 gives 0.10, not 0.100.

    ``size`` is the largest number printed beside it, of which a float holds 15 digits.
    """
    exponent = _exponent(u) - significant + 1
    if _round(u, exponent).adjusted() > _exponent(u):
        exponent += 1
    return max(exponent, _exponent(size) - 15) if size else exponent


def _text(x: float, exponent: int, power: int = 0) -> str:
    """Print ``x`` in 10**power, down to the digit 10**exponent; no sign on a rounded zero."""
    if not math.isfinite(x):
        return _INFINITY.get(x, "unknown")
    d = _round(x, exponent).scaleb(-power)
    if d.is_zero():
        d = abs(d)
    return f"{d:f}".replace("-", "−")


def _scale(size: float, last: int) -> int:
    """Power of ten to take out; 0 for sizes that read well as they are."""
    if size == 0.0 or not math.isfinite(size):
        return 0
    exponent = _exponent(size)
    return exponent if exponent < -4 or exponent >= 6 or (last > 0 and exponent >= 5) else 0


def _with_unit(number: str, power: int, unit: str) -> str:
    if power:
        inner = f"({number})" if " " in number else number
        number = f"{inner} × 10{str(power).translate(_SUPERSCRIPTS)}"
    return f"{number} {unit}" if unit else number


def format_number(x: float, significant: int = 3) -> str:
    """Print a number whose uncertainty is not given, with ``significant`` digits.

    Whole digits below 1e6 are never rounded away: 12345 stays 12345.

    >>> format_number(0.123456), format_number(0.0), format_number(1234567.0)
    ('0.123', '0', '1.23 × 10⁶')
    """
    if not math.isfinite(x):
        return _INFINITY.get(x, "unknown")
    if x == 0.0:
        return "0"
    last = _last_digit(abs(x), significant)
    power = _scale(x, min(last, 0))
    if power:
        return _with_unit(_text(x, last, power), power, "")
    return _text(x, min(last, 0))


def _shift(x: float, power: int) -> float:
    """Return x·10**power without binary rounding on the way."""
    return float(Decimal(repr(x)).scaleb(power)) if math.isfinite(x) else x


def format_value(value: float, u: float, unit: str = "") -> str:
    """Print ``value ± u``; ``u`` is one standard uncertainty.

    An infinite or missing ``u`` is said in words; ``u = 0`` prints the value alone.

    >>> format_value(1.39417, 0.144216, "µSv/h")
    '1.39 ± 0.14 µSv/h'
    """
    if not math.isfinite(value):
        return _with_unit(_INFINITY.get(value, "unknown"), 0, unit)
    if not math.isfinite(u):
        return _with_unit(format_number(value), 0, unit) + " (uncertainty unknown)"
    if u == 0.0:
        return _with_unit(_exact(value), 0, unit)
    size = max(abs(value), abs(u))
    last = _last_digit(abs(u), 2, size)
    power = _scale(size, last)
    return _with_unit(f"{_text(value, last, power)} ± {_text(u, last, power)}", power, unit)


def _exact(x: float) -> str:
    """Print a number without uncertainty, to six digits and no trailing zeros."""
    number, times, power = format_number(x, 6).partition(" × ")
    return (number.rstrip("0").rstrip(".") if "." in number else number) + times + power


def format_interval(low: float, high: float, coverage: float, unit: str = "") -> str:
    """Print an interval with its coverage.

    The ends are printed to two significant digits of the interval's width.

    >>> format_interval(1.11151, 1.67682, 0.95, "µSv/h")
    '1.11 … 1.68 µSv/h (95 %)'
    """
    tail = f" ({coverage * 100:.4g} %)"
    width = high - low
    if not math.isfinite(width):
        ends = [_INFINITY.get(e, "") or format_number(e) for e in (low, high)]
        return _with_unit(f"{ends[0]} … {ends[1]}", 0, unit) + tail
    if width == 0.0:
        return _with_unit(_exact(low), 0, unit) + tail
    size = max(abs(low), abs(high))
    last = _last_digit(width, 2, size)
    power = _scale(size, last)
    number = f"{_text(low, last, power)} … {_text(high, last, power)}"
    return _with_unit(number, power, unit) + tail


def format_asymmetric(
    value: float, low: float, high: float, coverage: float, unit: str = ""
) -> str:
    """Print a value with its distances to both ends of the interval.

    >>> format_asymmetric(1.39417, 1.11151, 1.67682, 0.95, "µSv/h")
    '1.39 +0.28 −0.28 µSv/h (95 %)'
    """
    up, down = high - value, value - low
    arms = [a for a in (up, down) if math.isfinite(a) and a != 0.0]
    if not math.isfinite(value) or len(arms) < 2 or min(arms) < 0:
        alone = _with_unit(format_number(value), 0, unit)
        return f"{alone}, {format_interval(low, high, coverage, unit)}"
    size = max(abs(value), *arms)
    last = _last_digit(min(arms), 2, size)
    power = _scale(size, last)
    v, p, m = (_text(x, last, power) for x in (value, up, down))
    return _with_unit(f"{v} +{p} −{m}", power, unit) + f" ({coverage * 100:.4g} %)"


def format_estimate(estimate: Estimate, style: Style | None = None) -> str:
    """Print an estimate as ``value ± u``, as an interval, or as value with two arms.

    Without ``style``: ``value ± u`` when ``u`` is finite and the interval lies evenly about the
    value (arms within a fifth of each other), else the asymmetric form.
    """
    e = estimate
    if style is None:
        up, down = e.high - e.value, e.value - e.low
        even = math.isfinite(e.u) and abs(up - down) <= 0.2 * max(up, down, 0.0)
        style = "plus_minus" if even else "asymmetric"
    if style == "plus_minus":
        return format_value(e.value, e.u, e.unit)
    if style == "interval":
        return format_interval(e.low, e.high, e.coverage, e.unit)
    return format_asymmetric(e.value, e.low, e.high, e.coverage, e.unit)


def format_percent(share: float, u: float | None = None) -> str:
    """Print a share such as 0.1234 as a percentage.

    >>> format_percent(0.125), format_percent(-0.4012, 0.021)
    ('12.5 %', '−40.1 ± 2.1 %')
    """
    if u is None:
        return f"{format_number(_shift(share, 2))} %"
    return format_value(_shift(share, 2), _shift(u, 2), "%")
