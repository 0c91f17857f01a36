"""Numbers printed with the digits that their uncertainty allows."""

import doctest
import math
import re
from decimal import Decimal

import pytest
from hypothesis import example, given
from hypothesis import strategies as st

from counterproof.quantities import (
    Estimate,
    format_asymmetric,
    format_estimate,
    format_interval,
    format_number,
    format_percent,
    format_value,
)
from counterproof.quantities import format as format_module


def test_examples_in_the_documentation_hold() -> None:
    assert doctest.testmod(format_module).failed == 0


@pytest.mark.parametrize(
    ("value", "u", "unit", "printed"),
    [
        (1.39417, 0.144216, "µSv/h", "1.39 ± 0.14 µSv/h"),
        # GUM (JCGM 100:2008) 7.2.2: m_S = 100,021 47 g with u_c = 0,35 mg (from memory)
        (100.02147, 0.00035, "g", "100.02147 ± 0.00035 g"),
        # GUM 7.2.6: 10,047 62 Ω with u_c = 27 mΩ is rounded to 10,048 Ω (from memory)
        (10.04762, 0.027, "Ω", "10.048 ± 0.027 Ω"),
        (0.0, 0.14, "µSv/h", "0.00 ± 0.14 µSv/h"),
        (-0.001, 0.14, "", "0.00 ± 0.14"),
        (-3.2, 0.5, "1/s", "−3.20 ± 0.50 1/s"),
        (0.0996, 0.0996, "", "0.10 ± 0.10"),
        (1234.0, 1000.0, "", "1200 ± 1000"),
        (5.0, 0.0, "cm", "5 cm"),
        (1e-7, 1e-8, "Sv", "(1.00 ± 0.10) × 10⁻⁷ Sv"),
        (123456789.0, 1e4, "", "(1.23457 ± 0.00010) × 10⁸"),
        (5.0, math.inf, "V", "5.00 V (uncertainty unknown)"),
        (5.0, math.nan, "V", "5.00 V (uncertainty unknown)"),
        (math.inf, 1.0, "s", "∞ s"),
        (-math.inf, 1.0, "", "−∞"),
        (math.nan, 1.0, "s", "unknown s"),
    ],
)
def test_value_and_uncertainty(value: float, u: float, unit: str, printed: str) -> None:
    assert format_value(value, u, unit) == printed


def test_intervals() -> None:
    assert format_interval(1.11151, 1.67682, 0.95, "µSv/h") == "1.11 … 1.68 µSv/h (95 %)"
    assert format_interval(0.0, 3.6889, 0.95) == "0.0 … 3.7 (95 %)"
    assert format_interval(0.0, math.inf, 0.95, "s") == "0 … ∞ s (95 %)"
    assert format_interval(2.0, 2.0, 0.6827, "s") == "2 s (68.27 %)"
    assert format_asymmetric(3, 0.6187, 8.7673, 0.95) == "3.0 +5.8 −2.4 (95 %)"
    assert format_asymmetric(0, 0, 3.6889, 0.95) == "0, 0.0 … 3.7 (95 %)"


def test_percent() -> None:
    assert format_percent(0.125) == "12.5 %"
    assert format_percent(1.0) == "100 %"
    assert format_percent(-0.4012, 0.021) == "−40.1 ± 2.1 %"


def test_an_estimate_picks_its_own_form() -> None:
    even = Estimate(1.39417, 0.144216, 1.11151, 1.67682, unit="µSv/h")
    skew = Estimate(3.0, 1.8, 0.6187, 8.7673)
    assert format_estimate(even) == "1.39 ± 0.14 µSv/h"
    assert format_estimate(even, "interval") == "1.11 … 1.68 µSv/h (95 %)"
    assert format_estimate(skew) == "3.0 +5.8 −2.4 (95 %)"
    assert format_estimate(Estimate(0.0, 0.0, 0.0, 0.0)) == "0"


_FINITE = st.floats(min_value=-1e12, max_value=1e12, allow_nan=False, allow_subnormal=False)
_SPREAD = st.floats(min_value=1e-12, max_value=1e12)


def _read(number: str) -> Decimal:
    return Decimal(number.replace("−", "-"))


@given(_FINITE, st.floats(min_value=0.1, max_value=1e12))
@example(961618508750.9451, 0.1015625)  # a shift in binary rounded it twice
def test_rounding_costs_at_most_a_twentieth_of_the_uncertainty(value: float, u: float) -> None:
    printed = format_value(value, u)
    match = re.fullmatch(r"\(?(\S+) ± (\S+?)\)?(?: × 10([⁰¹²³⁴⁵⁶⁷⁸⁹⁻]+))?", printed)
    assert match, printed
    power = int((match[3] or "0").translate(str.maketrans("⁰¹²³⁴⁵⁶⁷⁸⁹⁻", "0123456789-")))
    shown_value, shown_u = (_read(match[i]).scaleb(power) for i in (1, 2))
    # Two significant digits of u: rounding by at most half of the last of two digits, u/20.
    assert abs(shown_value - Decimal(repr(value))) <= Decimal(repr(u)) * Decimal("0.0501")
    assert abs(shown_u / Decimal(repr(u)) - 1) <= Decimal("0.0501")
    decimals = {m.partition(".")[2].__len__() for m in (match[1], match[2])}
    assert len(decimals) == 1, printed


@given(_FINITE, _SPREAD, _SPREAD)
def test_intervals_keep_their_order(value: float, up: float, down: float) -> None:
    printed = format_interval(value - down, value + up, 0.95)
    match = re.match(r"\(?(\S+) … ([^\s)]+)", printed)
    if match is None:  # both ends are one float
        assert value - down == value + up
        return
    assert _read(match[1]) <= _read(match[2])


@given(st.floats(allow_nan=True, allow_infinity=True), st.floats(min_value=0.0))
def test_nothing_breaks_the_printer(value: float, u: float) -> None:
    assert format_value(value, u, "s")
    assert format_number(value)
    assert format_percent(value, u)
    if math.isfinite(value):
        assert format_estimate(Estimate(value, u, value - min(u, 1e300), math.inf))
