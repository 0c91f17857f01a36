"""Values from outside the project; the source stands beside each check."""

import itertools
import math

import numpy as np
import pytest
from scipy.constants import elementary_charge, epsilon_0

from counterproof.circuits.battery import (
    converter_efficiency,
    endurance_h,
    mean_current_a,
    pulse_load_a,
)
from counterproof.circuits.cables import CABLES, cable_kind, coaxial_capacitance_f, loading
from counterproof.circuits.measuring import (
    divider_share,
    meter_reading_v,
    threshold_at_anode_v,
    true_voltage_v,
    voltage_from_two_meters,
)
from counterproof.circuits.pulse import (
    anode_voltage_v,
    charge_limits,
    recharge_time_s,
    resolving_time_s,
)
from counterproof.circuits.safety import (
    bleeder_for_ohm,
    bleeder_load,
    cautions,
    discharge_time_s,
    stored_energy,
)
from counterproof.circuits.supply import ceiling_current_a
from counterproof.errors import UserError

# 4.7 Mohm with the tube alone, 1 m and 2 m of coax of 100 pF/m on the anode side. Worked by hand
# (RC, RC ln 10, C * 150 V); a tube of 3...5 pF and coax of about 100 pF/m are from memory.
TABLE = [
    (5e-12, 23.5e-6, 54.1e-6, 0.75e-9),
    (105e-12, 493.5e-6, 1136.3e-6, 15.75e-9),
    (205e-12, 963.5e-6, 2218.5e-6, 30.75e-9),
]


@pytest.mark.parametrize(("capacitance", "rc", "recharge", "charge"), TABLE)
def test_recharge_and_charge(capacitance, rc, recharge, charge):
    assert 4.7e6 * capacitance == pytest.approx(rc, rel=1e-9)
    assert float(recharge_time_s(4.7e6, capacitance)) == pytest.approx(recharge, rel=1e-3)
    limits = charge_limits(150.0, capacitance, 5e-12)
    assert float(limits.fixed_drop_c) == pytest.approx(charge, rel=1e-9)
    assert float(limits.fixed_drop_v) == 150.0
    # the other limit: the charge stays 0.75 nC, the drop shrinks as 1/C
    assert float(limits.fixed_charge_c) == pytest.approx(0.75e-9)
    assert float(limits.fixed_charge_v) == pytest.approx(150 * 5e-12 / capacitance)


def test_load_at_a_thousand_pulses():
    # worked by hand: n Q, and the ceiling 150 V / 4.7 Mohm
    charges = charge_limits(150.0, [c for c, *_ in TABLE], 5e-12).fixed_drop_c
    assert charges * 1000 == pytest.approx([0.75e-6, 15.75e-6, 30.75e-6])
    assert float(ceiling_current_a(150.0, 4.7e6)) == pytest.approx(31.9e-6, rel=1e-3)


def test_resistor_end():
    # from first principles: at the tube the cable lies behind the resistor
    assert loading(5e-12, 0.0, 100e-12, "box").anode_f == pytest.approx(105e-12)
    at_tube = loading(5e-12, 1e-12, 100e-12, "tube")
    assert (at_tube.anode_f, at_tube.supply_f) == (pytest.approx(6e-12), pytest.approx(100e-12))


def test_cables_agree_with_their_impedance():
    # C = sqrt(eps)/(c Z0), transmission line theory (Pozar, Microwave Engineering, from memory);
    # solid polyethylene eps = 2.25, foam down to about 1.5 (from memory)
    for name, kind in CABLES.items():
        solid = math.sqrt(2.25) / (299792458.0 * kind.impedance_ohm)
        foam = math.sqrt(1.4) / (299792458.0 * kind.impedance_ohm)
        low, high = (1e-12 * c for c in kind.pf_per_m)
        assert high <= solid * 1.04, name
        assert low >= foam * 0.98, name
    assert cable_kind("rg58/U") is CABLES["RG-58"]
    # from memory of manufacturers' tables
    assert CABLES["RG-58"].pf_per_m == (95, 102)
    assert CABLES["RG-59"].pf_per_m[1] == 69
    with pytest.raises(UserError, match="RG-174"):
        cable_kind("string")


def test_tube_as_coaxial_cylinders():
    # Gauss's law by hand: 2 pi eps0 L / ln(b/a) for b/a = e and one metre
    assert float(coaxial_capacitance_f(1e-3, math.e * 1e-3, 1.0)) == pytest.approx(
        2 * math.pi * epsilon_0
    )
    # a slim tube, 1 mm wire in 10 mm, 75 mm long: a few pF ("about 3...5 pF", from memory)
    assert 1e-12 < float(coaxial_capacitance_f(0.5e-3, 5e-3, 75e-3)) < 5e-12
    with pytest.raises(UserError, match="thinner"):
        coaxial_capacitance_f(2.0, 1.0, 1.0)


def test_meter_loading():
    # common bench experience, checked by hand: 400 V behind 10 Mohm
    assert float(meter_reading_v(400, 10e6, 10e6)) == pytest.approx(200)
    assert float(meter_reading_v(400, 10e6, 1e9)) == pytest.approx(396, abs=0.05)
    assert float(true_voltage_v(200, 10e6, 10e6)) == pytest.approx(400)
    open_v, source = voltage_from_two_meters(200, 10e6, 400 * 1000 / 1010, 1e9)
    assert open_v == pytest.approx(400)
    assert source == pytest.approx(10e6)
    with pytest.raises(UserError, match="two clearly different meters"):
        voltage_from_two_meters(300, 10e6, 200, 1e9)


def test_divider():
    assert float(divider_share(9e6, 1e6)) == pytest.approx(0.1)
    assert float(divider_share(9e6, 1e6, load_ohm=1e6)) == pytest.approx(0.5 / 9.5)
    # a compensated probe is flat (equal time constants), an uncompensated one is not
    flat = divider_share(9e6, 1e6, upper_f=2e-12, lower_f=18e-12, frequency_hz=[0, 1e3, 1e6])
    assert flat == pytest.approx(0.1)
    assert float(divider_share(9e6, 1e6, lower_f=18e-12, frequency_hz=1e6)) < 0.01
    assert float(threshold_at_anode_v(0.5, 0.1)) == pytest.approx(5.0)


def test_stored_energy_limits():
    # limits of appliance safety practice, from memory: 0.1 uF to 450 V, 45 uC to 15 kV, 350 mJ
    assert stored_energy(0.1e-6, 450).of_limit == pytest.approx(1)
    assert stored_energy(0.1e-6, 450).limit == "0.1 µF"
    assert stored_energy(0.1e-6, 451).limit == "45 µC"
    assert stored_energy(0.1e-6, 451).exceeds
    assert stored_energy(10e-9, 400).energy_j == pytest.approx(0.8e-3)
    assert not stored_energy(10e-9, 400).exceeds
    assert stored_energy(45e-6 / 1000, 1000).of_limit == pytest.approx(1)
    assert stored_energy(1e-9, 20e3).limit == "350 mJ"
    assert stored_energy(1e-9, 20e3).of_limit == pytest.approx(0.2 / 0.35)


def test_bleeder():
    # by hand: 10 nF and 100 Mohm from 400 V to 60 V: ln(400/60) seconds
    assert float(discharge_time_s(10e-9, 100e6, 400)) == pytest.approx(math.log(400 / 60))
    assert float(discharge_time_s(10e-9, 100e6, 50)) == 0
    r = bleeder_for_ohm(10e-9, 400, 1.0)
    assert float(discharge_time_s(10e-9, r, 400)) == pytest.approx(1.0)
    assert np.isinf(bleeder_for_ohm(10e-9, 50, 1.0))
    current, heat = bleeder_load(400, 100e6)
    assert (float(current), float(heat)) == (pytest.approx(4e-6), pytest.approx(1.6e-3))


def test_cautions_name_what_can_hurt():
    said = " ".join(cautions())
    for word in ("centre pin", "plug", "wait", "creepage", "lithium", "maximum voltage", "rules"):
        assert word in said


def test_endurance_of_modes_is_inverse_to_their_currents():
    # by hand: the ratio of the mean currents
    dark, lit = mean_current_a([(1.0, 0.6e-3)]), mean_current_a([(0.5, 0.6e-3), (0.5, 18e-3)])
    assert float(endurance_h(0.9, dark) / endurance_h(0.9, lit)) == pytest.approx(lit / dark)
    assert float(endurance_h(0.9, dark)) == pytest.approx(1500)
    with pytest.raises(UserError, match="add up to 1"):
        mean_current_a([(0.5, 1e-3)])


def test_self_discharge():
    # by hand: without load to speak of, 3 % a month empties to 1/e in 1/-ln(0.97) months
    t0, t1 = endurance_h(1.0, 1e-3), endurance_h(1.0, 1e-3, self_discharge_per_month=0.03)
    assert float(t1) < float(t0)
    assert float(endurance_h(1.0, 1e-3, self_discharge_per_month=1e-9)) == pytest.approx(1000)
    # ODE dq/dt = -I - lambda q integrated in small steps
    lam, q, hours = -math.log(0.97) / 720, 1.0, 0.0
    while q > 0:
        q -= (1e-3 + lam * q) * 0.05
        hours += 0.05
    assert float(t1) == pytest.approx(hours, rel=1e-3)


def test_pulse_load_adds_as_charge_times_rate():
    load = pulse_load_a([100, 1000], 1e-9, 400, 4.0, 0.5)
    # by hand: 1 uA at 400 V is 0.4 mW, 0.8 mW at the battery, 0.2 mA at 4 V
    assert load == pytest.approx([20e-6, 200e-6])
    assert float(converter_efficiency(400, 1e-6, 4, 200e-6)) == pytest.approx(0.5)
    with pytest.raises(UserError, match="more power"):
        converter_efficiency(400, 1e-3, 4, 1e-3)


def test_resolving_time():
    # by hand: half the drop needed -> ln 2 time constants for either kind of input
    for kind in ("step", "level"):
        t = resolving_time_s(1e6, 100e-12, 100, 50, kind)
        assert float(t) == pytest.approx(100e-6 * math.log(2))
    assert np.isinf(resolving_time_s(1e6, 1e-12, 100, 100))
    assert float(resolving_time_s(1e6, 1e-12, 100, 50, tube_dead_time_s=90e-6)) == 90e-6
    # what the recharge curve says at that time is the threshold
    t = float(resolving_time_s(4.7e6, 50e-12, 150, 20))
    assert 150 - (400 - float(anode_voltage_v(t, 400, 150, 4.7e6, 50e-12))) == pytest.approx(20)


def test_a_discharge_is_many_electrons():
    # 1e8...1e10 electrons per discharge (Knoll, Radiation Detection and Measurement, from memory)
    assert 1e8 < 0.75e-9 / elementary_charge < 1e10


@pytest.mark.parametrize(
    "call",
    [
        lambda bad: recharge_time_s(bad, 1e-12),
        lambda bad: charge_limits(100.0, bad, 1e-12),
        lambda bad: stored_energy(1e-9, bad),
        lambda bad: endurance_h(bad, 1e-3),
    ],
)
def test_bad_numbers_are_refused_in_one_sentence(call):
    for bad in (-1.0, 0.0, math.nan, math.inf):
        with pytest.raises(UserError, match="above zero"):
            call(bad)


def test_cable_names_are_standard_designations():
    assert all(a != b for a, b in itertools.combinations(CABLES, 2))
    assert all(name.startswith("RG-") for name in CABLES)
