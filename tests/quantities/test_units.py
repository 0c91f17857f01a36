"""Units as people type them."""

import contextlib
import subprocess
import sys

import pytest
from hypothesis import given
from hypothesis import strategies as st

from counterproof.errors import UserError
from counterproof.quantities import (
    convert,
    dimension_name,
    parse_number,
    parse_quantity,
    parse_range,
    split_quantity,
)
from counterproof.quantities import units as units_module


@pytest.mark.parametrize(
    ("written", "unit", "value"),
    [
        ("37 kBq", "Bq", 37000.0),
        ("1 µCi", "kBq", 37.0),  # U+00B5; 1 Ci = 3.7e10 Bq by definition
        ("1 μCi", "kBq", 37.0),  # U+03BC
        ("1 uCi", "kBq", 37.0),
        ("0.25 uSv/h", "µSv/h", 0.25),
        ("0,25 µSv/h", "µSv/h", 0.25),
        (".25 µSv/h", "nSv/h", 250.0),
        ("25 µR/h", "mR/h", 0.025),
        ("25 µR/hr", "mR/h", 0.025),
        ("20 cps/(mR/h)", "cpm/(mR/h)", 1200.0),
        ("140 cpm/(µSv/h)", "cpm/(uSv/h)", 140.0),
        ("2 mg/cm²", "g/cm²", 0.002),
        ("2 mg/cm^2", "mg/cm²", 2.0),
        ("2 mg/cm2", "mg/cm²", 2.0),
        ("2 mg cm⁻²", "mg/cm²", 2.0),
        ("4.7 Mohm", "MΩ", 4.7),
        ("4.7 MΩ", "Ω", 4.7e6),
        ("4.7 M\u2126", "Ω", 4.7e6),
        ("10 cm", "mm", 100.0),
        ("10cm", "mm", 100.0),
        ("2 in", "mm", 50.8),
        ("400 V", "kV", 0.4),
        ("30 min", "s", 1800.0),
        ("12.5 %", "", 0.125),
        ("12.5%", "%", 12.5),
        ("0.125", "", 0.125),
        ("10\u2009000\u2009cpm", "cpm", 10000.0),
        ("10\u202f000 cpm", "cpm", 10000.0),
        ("1 200 cpm", "cps", 20.0),
        ("3 counts/min", "cpm", 3.0),
        ("3 counts per minute", "cpm", 3.0),
        ("3 CPM", "cpm", 3.0),
        ("1.5×10⁻³ Sv/h", "mSv/h", 1.5),
        ("1.5 x 10^-3 Sv/h", "mSv/h", 1.5),
        ("1.5e-3 Sv/h", "mSv/h", 1.5),
        ("1 rem", "mSv", 10.0),
        ("1000 mAh", "Ah", 1.0),
        ("661.7 keV", "MeV", 0.6617),
        ("−5 °C", "°C", -5.0),
    ],
)
def test_what_people_type(written: str, unit: str, value: float) -> None:
    assert parse_quantity(written, unit) == pytest.approx(value, rel=1e-13)


@pytest.mark.parametrize(
    ("written", "unit", "said"),
    [
        ("5 usv/h", "µSv/h", "did you mean 'µSv/h'"),
        ("5 msv", "mSv", "did you mean 'mSv'"),
        ("5 kbq", "kBq", "did you mean 'kBq'"),
        ("5 cpmm", "cpm", "did you mean 'cpm'"),
        ("5 Bq", "cps", "an activity, but a count rate is expected"),
        ("5 cps", "Bq", "a count rate, but an activity is expected"),
        ("5 Bq", "s", "but a time is expected"),
        ("5 mGy/h", "mSv/h", "kept apart"),
        ("5 µSv/h", "µGy/h", "kept apart"),
        ("5 mR/h", "µSv/h", "kept apart"),
        ("20 cps/(mR/h)", "cpm/(µSv/h)", "kept apart"),
        ("5 µSv", "µSv/h", "a dose equivalent, but a dose-equivalent rate"),
        ("5", "cm", "such as '5 cm'"),
        ("cm", "cm", "not a quantity"),
        ("", "cm", "not a quantity"),
        ("1,000 cpm", "cpm", "could mean 1000 or 1.000"),
        ("1.2.3 cm", "cm", "not a number"),
        ("5 __import__('os')", "cm", "not a unit"),
        ("5 mg/cm^99999999", "mg/cm²", "not a unit"),
    ],
)
def test_one_sentence_says_how_to_mend_it(written: str, unit: str, said: str) -> None:
    with pytest.raises(UserError) as caught:
        parse_quantity(written, unit)
    assert said in caught.value.message
    assert "\n" not in caught.value.message


@pytest.mark.parametrize(
    ("written", "low", "high"),
    [
        ("0.1..0.3 mm", 0.1, 0.3),
        ("0.1 … 0.3 mm", 0.1, 0.3),
        ("0.1–0.3 mm", 0.1, 0.3),
        ("0.1-0.3mm", 0.1, 0.3),
        ("0,1..0,3 mm", 0.1, 0.3),
        ("100 µm to 0.3 mm", 0.1, 0.3),
        ("0.1 mm - 0.3 mm", 0.1, 0.3),
        ("1e-3..2e-3 m", 1.0, 2.0),
        ("0.2 mm", 0.2, 0.2),
    ],
)
def test_ranges(written: str, low: float, high: float) -> None:
    assert parse_range(written, "mm") == pytest.approx((low, high))


@pytest.mark.parametrize(
    ("written", "said"),
    [
        ("0.3..0.1 mm", "downwards"),
        ("1..2..3 mm", "not a range"),
        ("0.1..0.3", "no unit"),
        ("0.1..0.3 V", "a voltage"),
    ],
)
def test_bad_ranges(written: str, said: str) -> None:
    with pytest.raises(UserError, match=said):
        parse_range(written, "mm")


@pytest.mark.parametrize(
    ("written", "value"),
    [
        ("1,234.5", 1234.5),
        ("1.234,5", 1234.5),
        ("1,234,567", 1234567.0),
        ("1.234.567", 1234567.0),
        ("0,125", 0.125),
        ("1'000", 1000.0),
        ("12,34", 12.34),
        ("-3", -3.0),
        ("2×10^3", 2000.0),
    ],
)
def test_numbers_of_both_conventions(written: str, value: float) -> None:
    assert parse_number(written) == value


@pytest.mark.parametrize("unit", sorted(units_module._COMMON))
def test_the_quick_table_agrees_with_pint(unit: str) -> None:
    by_pint = units_module._by_pint(units_module._canonical(unit))
    assert by_pint is not None
    assert by_pint[0] == units_module._COMMON[unit][0]
    assert by_pint[1] == pytest.approx(units_module._COMMON[unit][1], rel=1e-14)


@pytest.mark.parametrize("unit", units_module._SPELLINGS)
def test_every_spelling_proposed_is_understood(unit: str) -> None:
    assert convert(1.0, unit, unit) == 1.0
    assert not dimension_name(unit).startswith("something else")


@given(st.text(alphabet="µuSvGyRhBqCicpsmkM/()*^²³123 -.,%°ΩE\u2009", max_size=16))
def test_any_text_gives_a_number_or_a_sentence(written: str) -> None:
    with contextlib.suppress(UserError):
        assert isinstance(parse_quantity(written, "µSv/h"), float)


@given(
    st.floats(min_value=1e-6, max_value=1e6),
    st.sampled_from([("µSv/h", "mSv/h"), ("cm", "mm"), ("kBq", "µCi"), ("cpm", "cps")]),
)
def test_there_and_back(value: float, pair: tuple[str, str]) -> None:
    there = convert(value, *pair)
    assert convert(there, pair[1], pair[0]) == pytest.approx(value, rel=1e-13)


@given(st.floats(min_value=-1e9, max_value=1e9, allow_subnormal=False))
def test_a_float_written_by_python_is_read_back(value: float) -> None:
    assert split_quantity(f"{value!r} cm") == (value, "cm")


def test_daily_units_do_not_wait_for_pint() -> None:
    code = (
        "import sys; from counterproof.quantities import parse_quantity; "
        "parse_quantity('10 cm', 'mm'); parse_quantity('0.25 uSv/h', 'µSv/h'); "
        "sys.exit('pint' in sys.modules)"
    )
    assert subprocess.run([sys.executable, "-c", code], check=False).returncode == 0
