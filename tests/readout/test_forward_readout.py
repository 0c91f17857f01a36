"""The forward firmware model against closed forms and brute force."""

from __future__ import annotations

import math
import time

import numpy as np
import pytest

from counterproof.readout import (
    Boxcar,
    Exponential,
    FixedCount,
    ReadoutModel,
    Switched,
    clicks_of,
    corrected_rate,
    decayed_sum,
    displayed,
    held_range,
    rounded,
    run_readout,
)


def poisson(rate: float, duration: float, seed: int) -> np.ndarray:
    rng = np.random.default_rng(seed)
    return np.sort(rng.uniform(0, duration, rng.poisson(rate * duration)))


def test_two_factor_meter_shows_less_just_above_its_switch():
    # arithmetic of an invented meter: 179/140 and 181/240, computed by hand
    model = ReadoutModel(
        factors_cpm_per_usv_h=(140.0, 240.0), switches_cpm=(180.0,), quantum_usv_h=0.0
    )
    shown = displayed(model, np.array([179.0, 181.0]))
    assert shown == pytest.approx([1.2786, 0.7542], abs=5e-5)
    assert model.switches_usv_h == pytest.approx((180 / 140,))


def test_boxcar_counts_its_window():
    pulses = poisson(3.0, 200.0, 1)
    at = np.arange(1.0, 200.0, 1.7)
    brute = [((pulses > t - 12.5) & (pulses <= t)).sum() / min(t, 12.5) for t in at]
    assert Boxcar(12.5).rate_per_s(pulses, at) == pytest.approx(brute)


def test_exponential_sum_equals_brute_force():
    pulses = poisson(2.0, 300.0, 2)
    at = np.sort(np.random.default_rng(3).uniform(0, 290, 50))
    brute = [np.exp(-(t - pulses[pulses <= t]) / 7.0).sum() for t in at]
    assert decayed_sum(pulses, at, 7.0) == pytest.approx(brute)


def test_short_ticks_tend_to_the_analogue_rate_meter():
    pulses = poisson(5.0, 300.0, 4)
    at = np.arange(10.0, 300.0, 10.0)
    analogue = Exponential(8.0).rate_per_s(pulses, at)
    ticked = Exponential(8.0, step_s=0.01).rate_per_s(pulses, at)
    assert ticked == pytest.approx(analogue, rel=2e-3)


# Relative scatter of rate meters, 1/√(2rτ), 1/√(rT), 1/√N: textbook formulas, from memory
@pytest.mark.parametrize(
    ("estimator", "expected"),
    [
        (Exponential(10.0), 1 / math.sqrt(2 * 0.5 * 10.0)),
        (Boxcar(20.0), 1 / math.sqrt(0.5 * 20.0)),
    ],
)
def test_scatter_of_rate_meters(estimator, expected):
    pulses = poisson(0.5, 400_000.0, 5)
    rate = estimator.rate_per_s(pulses, np.arange(200.0, 400_000.0, 5.0))
    assert rate.std() / rate.mean() == pytest.approx(expected, rel=0.02)


def test_ninety_percent_of_a_step_after_2_3026_tau():
    # textbook: an exponential rate meter reaches 90 % after τ ln 10 (from memory)
    pulses = np.arange(0.0005, 100.0, 0.001)
    meter = Exponential(10.0, start="full")
    assert meter.rate_per_s(pulses, np.array([23.026])) == pytest.approx([900.0], rel=1e-3)


def test_fixed_count_is_the_time_of_its_pulses():
    pulses = poisson(4.0, 100.0, 6)
    at = np.array([50.0, 90.0])
    last = [pulses[pulses <= t][-11:] for t in at]
    expected = [10 / (p[-1] - p[0]) for p in last]
    assert FixedCount(10).rate_per_s(pulses, at) == pytest.approx(expected)
    assert FixedCount(10).rate_per_s(pulses[:1], at).tolist() == [0.0, 0.0]


def test_switched_uses_the_fast_one_in_a_strong_field():
    pulses = np.arange(0.0, 100.0, 0.1)
    both = Switched(Boxcar(30.0), Boxcar(5.0), 2.0)
    assert both.rate_per_s(pulses, np.array([99.0])) == pytest.approx(
        Boxcar(5.0).rate_per_s(pulses, np.array([99.0]))
    )
    slow = both.rate_per_s(pulses[::10], np.array([98.95]))
    assert slow == pytest.approx(Boxcar(30.0).rate_per_s(pulses[::10], np.array([98.95])))


def test_hysteresis_keeps_the_range_between_the_thresholds():
    rates = np.array([95.0, 99.0, 101.0, 95.0, 91.0, 89.0, 95.0, 100.0])
    assert held_range(rates, 100.0, 90.0).tolist() == [0, 0, 1, 1, 1, 0, 0, 1]
    assert held_range(rates, 100.0, 100.0).tolist() == [0, 0, 1, 0, 0, 0, 0, 1]


def test_dead_time_correction():
    # m = 1000/s and τ = 100 µs: n = 1111.111/s, closed form
    assert corrected_rate(np.array([1000.0]), 1e-4) == pytest.approx([1111.111], abs=1e-3)


def test_rounding_modes():
    values = np.array([0.3, 0.349, 0.35, 0.399])
    assert rounded(values, 0.1) == pytest.approx([0.3, 0.3, 0.4, 0.4])
    assert rounded(values, 0.1, down=True) == pytest.approx([0.3, 0.3, 0.3, 0.3])
    assert rounded(values, 0.0) is values


def test_registers_agree_for_one_factor_and_part_for_two():
    pulses = poisson(4.0, 3600.0, 7)
    one = ReadoutModel(
        estimator=Boxcar(1.0), factors_cpm_per_usv_h=(120.0,), quantum_usv_h=0, average_from="rate"
    )
    shown = run_readout(one, pulses, 3600.0)
    assert shown.average[-1] == pytest.approx(shown.momentary.mean())
    assert shown.accumulated[-1] == pytest.approx(pulses.size / 60 / 120.0, rel=1e-9)
    two = ReadoutModel(
        factors_cpm_per_usv_h=(120.0, 200.0),
        switches_cpm=(100.0,),
        quantum_usv_h=0,
        average_from="counts",
    )
    shown = run_readout(two, pulses, 3600.0)
    assert shown.average[-1] / shown.momentary[-1000:].mean() == pytest.approx(200 / 120, rel=0.05)


def test_floor_background_and_phase():
    model = ReadoutModel(
        estimator=Boxcar(10.0),
        factors_cpm_per_usv_h=(60.0,),
        background_cpm=30.0,
        floor_usv_h=0.2,
        refresh_s=2.0,
        refresh_phase_s=0.5,
    )
    assert displayed(model, np.array([20.0, 40.0, 90.0])).tolist() == [0.0, 0.0, 1.0]
    times = run_readout(model, np.array([]), 7.0).times_s
    assert times.tolist() == [0.5, 2.5, 4.5, 6.5]


def test_divided_clicks():
    assert clicks_of(ReadoutModel(pulses_per_click=3), np.arange(8.0)).tolist() == [2.0, 5.0]


@pytest.mark.parametrize(
    "wrong",
    [
        {"factors_cpm_per_usv_h": ()},
        {"factors_cpm_per_usv_h": (100.0, 200.0)},
        {"factors_cpm_per_usv_h": (1.0, 2.0, 3.0), "switches_cpm": (5.0, 4.0)},
        {"hysteresis": 1.0},
        {"dead_time_s": -1.0},
    ],
)
def test_an_impossible_firmware_is_refused(wrong):
    with pytest.raises(ValueError):
        ReadoutModel(**wrong)


def test_an_hour_at_100_per_s_takes_well_under_a_tenth_of_a_second():
    pulses = poisson(100.0, 3600.0, 8)
    for estimator in (Boxcar(20.0), Exponential(10.0), FixedCount(50)):
        start = time.process_time()
        run_readout(ReadoutModel(estimator=estimator), pulses, 3600.0)
        assert time.process_time() - start < 0.1
