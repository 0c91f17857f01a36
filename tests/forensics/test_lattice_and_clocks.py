"""The display's step and refresh, read off the log alone."""

from __future__ import annotations

import numpy as np
import pytest

from counterproof.forensics import PairedRun, find_step
from counterproof.forensics.clocks import regular_times, silences, tidy
from counterproof.forensics.likelihood import independent_share
from counterproof.forensics.profile import agreed_factor, fit_factors
from counterproof.forensics.shapes import EXPONENTIAL, Rates, held_sums
from counterproof.readout import decayed_sum


@pytest.mark.parametrize("step", [0.001, 0.002, 0.01, 0.05, 0.1, 0.0137241])
def test_the_step_of_a_display(step):
    values = np.random.default_rng(1).gamma(3.0, 0.5, 600)
    found = find_step(np.round(np.round(values / step) * step, 9))
    assert found is not None
    assert found.step == pytest.approx(step, rel=1e-6)
    assert found.low <= step <= found.high


def test_whole_counts_of_a_boxcar_are_not_taken_for_the_step():
    counts = np.random.default_rng(2).poisson(20, 500)
    found = find_step(np.round(counts * 0.0111128, 3))
    assert found is not None
    assert found.step == pytest.approx(0.001)


def test_a_display_that_hardly_moved_has_no_known_step():
    assert find_step(np.array([0.1, 0.1, 0.2])) is None


def test_rounded_times_are_put_back_on_their_line():
    true = 0.377 + 1.3304996 * np.delete(np.arange(800), [5, 17])
    found = regular_times(np.round(true, 3))
    assert found is not None
    assert np.abs(found - true).max() < 4e-4
    assert regular_times(true + np.random.default_rng(3).uniform(0, 0.3, true.size)) is None


def test_readings_between_two_refreshes_are_one_observation():
    rng = np.random.default_rng(4)
    at = np.arange(0.0, 600.0, 0.4)
    values = rng.integers(0, 50, 400)[((at - 0.7) // 3.0).astype(int) + 1] * 0.01
    tidied, refresh = tidy(PairedRun(np.arange(9.0), 600.0, at, values))
    assert refresh is not None
    assert refresh.period_s == pytest.approx(3.0, rel=1e-3)
    assert tidied.reading_times_s.size == pytest.approx(200, abs=3)


def test_a_silence_is_told_from_a_low_rate():
    rng = np.random.default_rng(5)
    times = np.sort(rng.uniform(0, 1000, 2000))
    assert silences(times, 1000.0).size == 0
    holed = times[(times < 400) | (times > 500)]
    found = silences(holed, 1000.0)
    assert found.shape == (1, 2)
    assert found[0] == pytest.approx([400, 500], abs=3)
    fading = np.concatenate((times[times < 500], np.sort(rng.uniform(500, 1000, 50))))
    assert silences(fading, 1000.0).size == 0


def test_decayed_sums_agree_with_the_forward_model():
    rng = np.random.default_rng(6)
    pulses = np.sort(rng.uniform(0, 500, 900))
    at = np.sort(rng.uniform(50, 500, 60))
    assert held_sums(pulses, 7.0)[-1] == pytest.approx(decayed_sum(pulses, pulses[-1:], 7.0)[0])
    rates = Rates(pulses, EXPONENTIAL)
    rates.settle(7.0, 0.02)
    expected = 60.0 / 7.08 * decayed_sum(pulses, at, 7.08)
    assert rates(7.08, at)[0] == pytest.approx(expected, rel=1e-6)


def test_least_squares_finds_two_factors_and_their_switch():
    cpm = np.linspace(10, 400, 400)
    values = np.where(cpm < 180, cpm / 140, cpm / 240)
    found = fit_factors(cpm, cpm + 1, values, 0.001)
    assert found.factors == pytest.approx((140, 240))
    assert found.switch_cpm == pytest.approx(180, abs=1)
    assert found.cost < 1e-3 * found.cost_one


def test_the_factor_most_readings_agree_on_survives_nonsense():
    cpm = np.arange(20.0, 220.0)
    values = np.round(cpm / 133.0, 2)
    values[::4] = 7.77
    factor, agreeing = agreed_factor(cpm, values, 0.01)
    assert factor == pytest.approx(133.0, rel=2e-3)
    assert agreeing == 150


def test_independent_share_of_a_running_mean():
    # a running mean over m independent numbers has Σ autocorrelation (m - 1)/2: share 1/m
    noise = np.random.default_rng(7).normal(size=40_000)
    run = np.convolve(noise, np.ones(10) / 10, "valid")
    group = np.zeros(run.size, dtype=np.int64)
    assert independent_share(run, group) == pytest.approx(0.1, rel=0.15)
    assert independent_share(noise, group) > 0.8
