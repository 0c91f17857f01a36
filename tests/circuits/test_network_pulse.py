"""Networks and pulses: limits known in closed form, and an independent integrator."""

import math

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy.integrate import solve_ivp

from counterproof.circuits.network import GROUND, SUPPLY, Network
from counterproof.circuits.pulse import Pickoff, pulse_at_input

values = st.floats(0.1, 100.0)


@settings(max_examples=25, deadline=None)
@given(values, values, values, values, values, st.floats(0.0, 1.0))
def test_against_an_ode_solver(r1, r2, c1, c2, c3, spread):
    # scipy's general integrator on Kirchhoff's equations
    net = Network(
        ("a", "b"),
        (("a", SUPPLY, r1), ("b", GROUND, r2)),
        (("a", "b", c1), ("a", GROUND, c2), ("b", GROUND, c3)),
    )
    q = net.transfer_vector("a", "b")
    times = np.geomspace(0.01, 3.0, 12) / net.decay_per_s[-1]
    tau = spread / net.decay_per_s[-1]

    def change(t, v):
        arriving = q * math.exp(-t / tau) / tau if tau > 0 else 0 * q
        return np.linalg.solve(net.capacitance, arriving - net.conductance @ v)

    start = np.zeros(2) if tau > 0 else np.linalg.solve(net.capacitance, q)
    if 0 < spread < 0.05:
        return
    found = solve_ivp(change, (0, times[-1]), start, "LSODA", times, rtol=1e-9, atol=1e-14)
    for row, node in enumerate(net.nodes):
        assert net.response(node, q, times, tau) == pytest.approx(
            found.y[row], rel=1e-5, abs=1e-6 * np.abs(found.y).max()
        )


def test_mean_and_scatter_of_poisson_pulses():
    # Campbell's theorem for one RC: mean n q R, variance n q^2 R/(2 C)
    net = Network(("a",), (("a", SUPPLY, 2e6),), (("a", GROUND, 5e-12),))
    q = net.transfer_vector(GROUND, "a") * 1e-9
    assert net.mean_v("a", q, 100) == pytest.approx(100 * 1e-9 * 2e6)
    assert net.rms_v("a", q, 100) == pytest.approx(math.sqrt(100 * 1e-18 * 2e6 / (2 * 5e-12)))


def test_ripple_gain_of_one_rc():
    # 1/sqrt(1 + (w R C)^2)
    net = Network(("a",), (("a", SUPPLY, 1e6),), (("a", GROUND, 10e-12),))
    f = np.array([0.0, 1e3, 15915.494309, 1e6])
    assert net.gain("a", f) == pytest.approx(1 / np.sqrt(1 + (2 * np.pi * f * 1e-5) ** 2))


def test_anode_pickoff_divides_by_coupling_and_input():
    # by hand: a long time constant at the input leaves the capacitive divider
    p = Pickoff(10e6, 5e-12, 0.0, at="anode", input_ohm=1e9, input_f=10e-12, coupling_f=100e-12,
                resistor_at="box")  # fmt: skip
    pulse = pulse_at_input(p, drop_v=100.0)
    assert pulse.peak_v == pytest.approx(100 * 100 / 110, rel=1e-3)
    assert pulse.drop_v == 100
    series = 10e-12 * 100e-12 / 110e-12
    assert pulse.charge_c == pytest.approx(100 * (5e-12 + series))


def test_cathode_pickoff_without_stray_sees_the_recharge_current():
    # by hand: with all capacitance across the tube, i = dV/R exp(-t/RC) through the input
    p = Pickoff(10e6, 5e-12, 0.0, input_ohm=100e3, input_f=1e-15)
    pulse = pulse_at_input(p, drop_v=100.0, threshold_v=0.1)
    assert pulse.peak_v == pytest.approx(100 * 100e3 / 10.1e6, rel=5e-3)
    assert pulse.recharge_s == pytest.approx(10.1e6 * 5e-12 * math.log(10), rel=5e-3)


def test_stray_capacitance_gives_the_cathode_its_pulse():
    # charge from anode-to-ground capacitance passes through the input: far more than R_k/R
    with_stray = pulse_at_input(Pickoff(10e6, 5e-12, 3e-12), drop_v=100.0)
    without = pulse_at_input(Pickoff(10e6, 5e-12, 0.0), drop_v=100.0)
    assert with_stray.peak_v > 10 * without.peak_v
    # bounded by Q / C_input
    assert with_stray.peak_v < 100 * 3e-12 / 10e-12


@pytest.mark.parametrize("at", ["cathode", "anode"])
def test_resistor_at_the_wrong_end(at):
    near = pulse_at_input(Pickoff(4.7e6, 4e-12, 1e-12, 100e-12, "tube", at), drop_v=150.0)
    far = pulse_at_input(Pickoff(4.7e6, 4e-12, 1e-12, 100e-12, "box", at), drop_v=150.0)
    assert far.charge_c > 15 * near.charge_c
    assert far.recharge_s > 10 * near.recharge_s
    fixed = pulse_at_input(Pickoff(4.7e6, 4e-12, 1e-12, 100e-12, "box", at), charge_c=near.charge_c)
    assert fixed.drop_v < 0.1 * near.drop_v
    assert fixed.peak_v < far.peak_v


def test_slow_ions_lower_the_peak():
    p = Pickoff(10e6, 5e-12, 3e-12, input_ohm=10e3)
    peaks = [pulse_at_input(p, drop_v=100.0, spread_s=s).peak_v for s in (0, 1e-7, 1e-6)]
    assert peaks[0] > peaks[1] > peaks[2]


def test_share_of_a_divider_scales_the_peak():
    whole = pulse_at_input(Pickoff(10e6, 5e-12, 3e-12), drop_v=100.0)
    half = pulse_at_input(Pickoff(10e6, 5e-12, 3e-12, share=0.5), drop_v=100.0, threshold_v=0.5)
    assert half.peak_v == pytest.approx(whole.peak_v / 2)
    assert half.above_s == pytest.approx(whole.above_s, rel=1e-6)


def test_time_above_threshold_is_where_the_response_crosses_it():
    p = Pickoff(4.7e6, 5e-12, 2e-12)
    found = pulse_at_input(p, drop_v=150.0, threshold_v=2.0)
    net = p.network()
    q = found.charge_c * net.transfer_vector("anode", "input")
    assert abs(net.response("input", q, found.above_s)) == pytest.approx(2.0, rel=1e-3)
    assert pulse_at_input(p, drop_v=150.0, threshold_v=1e3).above_s == 0


def test_one_of_drop_and_charge():
    with pytest.raises(ValueError, match="either"):
        pulse_at_input(Pickoff(1e6, 5e-12))
