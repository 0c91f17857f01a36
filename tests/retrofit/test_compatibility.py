"""Tube against box: each check's verdicts, and figures held to the circuits."""

import pytest

from counterproof.circuits.supply import Supply, fixed_drop_load
from counterproof.kit.fields import Span
from counterproof.kit.instrument import Instrument
from counterproof.kit.probe import Cable, Probe
from counterproof.kit.tube import Tube
from counterproof.retrofit.compatibility import (
    Envelope,
    behind_switch,
    cable_capacitance_f,
    compatibility,
)
from tests.retrofit.invented import SHEET


def tube(**changes):
    sheet = {k: v for k, v in (SHEET | changes).items() if v is not None}
    return Tube.model_validate(
        {"name": "slim steel", "outer_diameter_mm": 10, "length_mm": "105..110 mm",
         "datasheet": sheet}
    )  # fmt: skip


def box(**supply):
    given = {"voltage": "400 V", "regulated": True, "anode_resistor": "5.1 Mohm"} | supply
    return Instrument.model_validate(
        {"name": "Lantern", "supply": {k: v for k, v in given.items() if v is not None}}
    )


def probe(**changes):
    given = {
        "name": "wand", "tube": "slim steel", "anode_resistor": "4.7 Mohm",
        "cable": {"kind": "RG-58", "length": "1 m", "rated": "1.4 kV"},
    } | changes  # fmt: skip
    return Probe.model_validate(given)


def verdict(result, key):
    return next(c.verdict for c in result.checks if c.key == key)


def test_what_fits():
    result = compatibility(box(), tube(), probe(), Envelope(120, 12))
    kept = {c.key: c.verdict for c in result.checks}
    assert kept.pop("dead_time") == "care"  # the menu of this box sets none
    assert set(kept.values()) == {"fits"}
    assert result.verdict == "care"


@pytest.mark.parametrize(
    ("voltage", "expected"),
    [("400 V", "fits"), ("380 V", "care"), ("350 V", "does not fit"), ("460 V", "does not fit"),
     (None, "unknown")],
)  # fmt: skip
def test_voltage(voltage, expected):
    assert verdict(compatibility(box(voltage=voltage), tube()), "voltage") == expected


def test_resistor_in_the_box():
    near = compatibility(box(), tube(), probe()).figures
    far_result = compatibility(box(), tube(), probe(resistor_at="box"))
    far = far_result.figures
    assert verdict(far_result, "cable") == "care"
    assert verdict(far_result, "double_pulses") == "care"
    # by hand: 4 pF + 1 pF, and 98.5 pF of cable more
    assert near.anode_f == pytest.approx(5e-12)
    assert far.anode_f == pytest.approx(103.5e-12)
    assert far.recharge_s / near.recharge_s == pytest.approx(20.7)
    # fixed charge does not see the cable, fixed drop sees all of it
    assert far.charge_c[0] == pytest.approx(near.charge_c[0])
    assert far.charge_c[1] / near.charge_c[1] == pytest.approx(20.7)
    assert far.risk.risk == "high"


def test_resistor_of_the_sheet():
    assert verdict(compatibility(box(anode_resistor="1 Mohm"), tube()), "resistor") == (
        "does not fit"
    )
    unknown = tube(anode_resistor_mohm=None)
    assert verdict(compatibility(box(anode_resistor="0.5 Mohm"), unknown), "resistor") == "care"
    assert verdict(compatibility(box(anode_resistor=None), tube()), "resistor") == "unknown"
    slow = compatibility(box(), tube(), probe(anode_resistor="4.7 Mohm", resistor_at="box"))
    assert verdict(slow, "resistor") == "care"


def test_cable_rating():
    low = {"kind": "RG-174", "length": "2 m", "rated": "300 V"}
    assert verdict(compatibility(box(), tube(), probe(cable=low)), "rating") == "does not fit"
    none = {"kind": "lamp flex", "length": "2 m"}
    result = compatibility(box(), tube(), probe(cable=none, resistor_at="box"))
    assert verdict(result, "rating") == "unknown"
    assert verdict(result, "cable") == "unknown"
    assert result.figures is None
    own = Cable(kind="lamp flex", length="2 m", capacitance_pf_per_m=Span(60, 60))
    assert cable_capacitance_f(own) == pytest.approx(120e-12)


def test_soft_supply_droop_comes_from_the_circuit():
    soft = box(regulated=False, source_resistance="5 Mohm")
    result = compatibility(soft, tube(), probe(resistor_at="box"))
    # two times the overvoltage of 80 V, Poisson pulses with 90 us of dead time
    load = fixed_drop_load(1000.0, Supply(400, 5e6), 4.7e6, 103.5e-12, 240.0, 90e-6)
    assert result.figures.droop_v[1] == pytest.approx(float(load.droop_v))
    assert verdict(result, "droop") == "care"
    nobody = box(regulated=None)
    assert verdict(compatibility(nobody, tube()), "droop") == "unknown"


def test_dead_time_setting():
    def menu(high):
        setting = {"kind": "dead_time", "unit": "µs", "low": 50, "high": high, "value": 50}
        return Instrument.model_validate(
            {"name": "Lantern", "setting": [setting],
             "supply": {"voltage": "400 V", "anode_resistor": "5.1 Mohm", "regulated": True}}
        )  # fmt: skip

    assert verdict(compatibility(menu(500), tube()), "dead_time") == "fits"
    assert verdict(compatibility(menu(60), tube()), "dead_time") == "care"
    assert verdict(compatibility(menu(60), tube(dead_time_us=None)), "dead_time") == "unknown"


def test_envelope():
    cases = {104: "does not fit", 107: "unknown", 111: "fits"}
    for room, expected in cases.items():
        assert verdict(compatibility(box(), tube(), room=Envelope(room)), "length") == expected


def test_a_tube_known_only_by_its_size():
    result = compatibility(box(), Tube(name="spare", outer_diameter_mm=Span(9, 11),
                                       length_mm=Span(60, 70)))  # fmt: skip
    assert verdict(result, "voltage") == "unknown"
    assert result.figures is not None
    assert all(c.statement.endswith(".") for c in result.checks)


def test_a_changeover_switch_loads_the_tube_that_stays():
    # by hand: 4 + 1 pF before, 10 pF after; 2.303 · 5.1 Mohm · C
    check = behind_switch(box(), tube())
    assert check.verdict == "care"
    assert "117 µs instead of 59" in check.statement
    assert behind_switch(box(), tube(), 2.0).verdict == "fits"
    assert "2 times" in behind_switch(box(anode_resistor=None), tube()).statement
