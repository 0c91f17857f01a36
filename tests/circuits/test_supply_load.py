"""The supply under load: closed limits, and pulses drawn one by one."""

import numpy as np
import pytest

from counterproof.circuits.supply import (
    Supply,
    burst_ripple_v,
    fixed_charge_load,
    fixed_drop_load,
    pulse_ripple_v,
)
from counterproof.errors import UserError

R, C, V, EXT = 4.7e6, 105e-12, 400.0, 250.0


def test_limits_of_rate():
    load = fixed_drop_load([1e-3, 1e9], Supply(V), R, C, EXT)
    # by hand: full charge at low rate, ceiling dV/R at high rate
    assert load.charge_c[0] == pytest.approx(C * 150)
    assert load.current_a[1] == pytest.approx(150 / R, rel=1e-4)
    assert load.droop_v == pytest.approx(0)


def test_poisson_closed_form():
    # n C dV / (1 + n R C): mean of 1 - exp(-t/RC) over exponential intervals, by hand
    n = np.array([10.0, 1000.0, 1e5])
    load = fixed_drop_load(n, Supply(V), R, C, EXT)
    assert load.current_a == pytest.approx(n * C * 150 / (1 + n * R * C))


def one_by_one(rate, supply, dead, pulses=60_000, regular=False):
    """Follow pulses drawn one by one: two states, exact exponentials."""
    rng = np.random.default_rng(5)
    tau = R * C
    Cr, Rs = supply.reservoir_f, supply.source_ohm
    A = np.array([[-(1 / Rs + 1 / R) / Cr, 1 / (R * Cr)], [1 / tau, -1 / tau]])
    lam, vec = np.linalg.eig(A)
    inv = np.linalg.inv(vec)
    x = np.array([0.0, 0.0])
    charge, time = 0.0, 0.0
    for k in range(pulses):
        if k == pulses // 10:
            charge, time = 0.0, 0.0
        dt = 1 / rate if regular else dead + rng.exponential(1 / rate)
        x = (vec * np.exp(lam * dt)) @ (inv @ x)
        charge += C * (x[1] + V - EXT)
        time += dt
        x[1] = EXT - V
    return charge / time


@pytest.mark.parametrize("rate", [200.0, 3000.0])
def test_soft_supply_pulse_by_pulse(rate):
    supply = Supply(V, 2e6, 2e-9)
    wanted = one_by_one(rate, supply, 90e-6)
    load = fixed_drop_load(rate, supply, R, C, EXT, 90e-6)
    assert float(load.current_a) == pytest.approx(wanted, rel=0.01)
    assert float(load.droop_v) == pytest.approx(wanted * 2e6, rel=0.01)
    regular = fixed_drop_load(rate, supply, R, C, EXT, pattern="regular")
    assert float(regular.current_a) == pytest.approx(
        one_by_one(rate, supply, 0, 5000, True), rel=1e-3
    )


def test_a_large_reservoir_is_the_averaged_limit():
    big = fixed_drop_load([30.0, 3000.0], Supply(V, 2e6, 1e-3), R, C, EXT, 1e-4)
    none = fixed_drop_load([30.0, 3000.0], Supply(V, 2e6), R, C, EXT, 1e-4)
    assert big.current_a == pytest.approx(none.current_a, rel=1e-3)
    # by hand: however fast, the current stays below dV/(R + R_source)
    top = fixed_drop_load(1e9, Supply(V, 2e6), R, C, EXT)
    assert float(top.current_a) == pytest.approx(150 / 6.7e6, rel=1e-3)


def test_regular_pulses_within_the_dead_time_are_missed():
    # 20 kHz into a dead time of 120 us: every third pulse counts
    load = fixed_drop_load(20e3, Supply(V), R, C, EXT, 120e-6, "regular")
    assert float(load.pulses_per_s) == pytest.approx(20e3 / 3)


def test_fixed_charge():
    # by hand: I = n Q, droop I R_source, up to the ceiling
    load = fixed_charge_load([100.0, 1e7], Supply(V, 2e6), R, 0.75e-9, EXT)
    assert load.current_a == pytest.approx([75e-9, 150 / 6.7e6])
    assert load.droop_v[0] == pytest.approx(0.15)
    assert load.before_v[1] == pytest.approx(EXT)


def test_current_limit_makes_the_output_sink():
    strong = fixed_drop_load(2000.0, Supply(V), R, C, EXT)
    weak = fixed_drop_load(2000.0, Supply(V, limit_a=5e-6), R, C, EXT)
    assert not strong.limited
    assert weak.limited
    assert float(weak.current_a) == 5e-6
    # the same as a regulated supply set to the lower voltage
    again = fixed_drop_load(2000.0, Supply(V - float(weak.droop_v)), R, C, EXT)
    assert float(again.current_a) == pytest.approx(5e-6)
    charge = fixed_charge_load(2000.0, Supply(V, limit_a=1e-6), R, 0.75e-9, EXT)
    assert charge.limited
    assert float(charge.before_v) == pytest.approx(EXT)


def test_the_two_limits_bracket_each_other():
    n = np.geomspace(1, 1e4, 9)
    drop = fixed_drop_load(n, Supply(V, 1e6), R, C, EXT).current_a
    charge = fixed_charge_load(n, Supply(V, 1e6), R, 5e-12 * 150, EXT).current_a
    assert np.all(charge <= drop * 1.0001)


def test_ripples():
    assert float(pulse_ripple_v(1e-9, 10e-9)) == pytest.approx(0.1)
    assert float(burst_ripple_v(1e-6, 0.1, 10e-9)) == pytest.approx(10)


def test_supply_below_extinction_is_refused():
    with pytest.raises(UserError, match="discharge ends"):
        fixed_drop_load(10, Supply(200), R, C, EXT)
