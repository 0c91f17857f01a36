"""Voltage, resistor and double pulses: what suits what."""

import pytest

from counterproof.circuits.matching import (
    VoltageData,
    double_pulse_risk,
    match_voltage,
    resistor_range,
)
from counterproof.circuits.pulse import recharge_time_s
from counterproof.errors import UserError

SHEET = VoltageData(320, 360, 460, 400, 480)  # an invented tube


@pytest.mark.parametrize(
    ("low", "high", "fit"),
    [
        (395, 405, "good"),
        (400, 440, "on plateau"),
        (362, 362, "low end"),
        (455, 458, "high end"),
        (340, 400, "no plateau"),
        (300, 400, "no counts"),
        (400, 470, "danger"),
        (300, 500, "danger"),
    ],
)
def test_fit(low, high, fit):
    # definitions; a third to a half along the plateau is common practice, no source
    assert match_voltage(low, high, SHEET).fit == fit


def test_margins():
    match = match_voltage(390, 410, SHEET, droop_v=15)
    assert match.overvoltage_v == pytest.approx(55)
    assert match.margin_v == pytest.approx(50)
    assert match.position == pytest.approx(0.4)
    assert match_voltage(360, 365, SHEET, droop_v=60).fit == "no counts"


def test_little_data_is_admitted():
    assert match_voltage(400, 400, VoltageData()).fit == "unknown"
    assert match_voltage(400, 400, VoltageData(maximum_v=390)).fit == "danger"
    assert match_voltage(400, 400, VoltageData(recommended_v=400)).fit == "good"
    assert match_voltage(400, 400, VoltageData(start_v=300)).fit == "unknown"
    with pytest.raises(UserError, match="swap"):
        match_voltage(410, 400, SHEET)


def test_resistor_range():
    got = resistor_range(400, 6e-12, SHEET, 5.1e6, recover_s=200e-6)
    assert got.low_ohm == pytest.approx(5.1e6)
    assert float(recharge_time_s(got.high_ohm, 6e-12)) == pytest.approx(200e-6)
    assert got.possible
    # at 440 V the overvoltage is 1.5 times that at 400 V: so must be the resistor, by hand
    assert resistor_range(440, 6e-12, SHEET, 5.1e6).low_ohm == pytest.approx(1.5 * 5.1e6)
    # the cable on the anode side: nothing fits any more
    assert not resistor_range(400, 106e-12, SHEET, 5.1e6, recover_s=200e-6).possible
    bare = resistor_range(400, 6e-12, VoltageData())
    assert (bare.low_from, bare.high_from) == ("common practice", "common practice")


def test_double_pulse_risk():
    assert double_pulse_risk(0.75e-9, 0.75e-9).risk == "usual"
    assert double_pulse_risk(15.75e-9, 0.75e-9).risk == "high"
    assert double_pulse_risk(1e-9, 1e-9, 30e-6, 15e-6).risk == "raised"
    assert double_pulse_risk(1e-9, 1e-9, above_threshold_s=1e-3, blind_s=1e-4).retriggers
