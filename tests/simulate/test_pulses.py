"""Pulse trains against the formulas of counting."""

import time

import numpy as np
import pytest
from scipy import stats

from counterproof.simulate import pulses


def rng(seed: int = 1) -> np.random.Generator:
    return np.random.default_rng(seed)


def test_constant_rate_is_poisson_in_counts_and_intervals() -> None:
    times = pulses.poisson_times(50.0, 2000.0, rng())
    counts = np.bincount(times.astype(int), minlength=2000)
    # Fisher's dispersion test: Σ(n−n̄)²/n̄ is χ² with N−1 degrees of freedom (textbook)
    chi2 = ((counts - counts.mean()) ** 2).sum() / counts.mean()
    assert 0.001 < stats.chi2.sf(chi2, 1999) < 0.999
    assert stats.kstest(np.diff(times), "expon", args=(0, 1 / 50.0)).pvalue > 0.001
    assert abs(times.size - 100_000) < 4 * np.sqrt(100_000)


@pytest.mark.parametrize("rate, duration", [(0.0, 10.0), (5.0, 0.0)])
def test_nothing_comes_of_nothing(rate: float, duration: float) -> None:
    assert pulses.poisson_times(rate, duration, rng()).size == 0


@pytest.mark.parametrize("rate, duration", [(-1.0, 1.0), (1.0, -1.0), (np.nan, 1.0)])
def test_impossible_rates_are_refused(rate: float, duration: float) -> None:
    with pytest.raises(ValueError, match="not negative"):
        pulses.poisson_times(rate, duration, rng())


def test_a_seed_is_a_result() -> None:
    assert np.array_equal(pulses.poisson_times(9, 9, rng(3)), pulses.poisson_times(9, 9, rng(3)))


@pytest.mark.parametrize(
    "true, tau_n, tau_p, expected",
    [
        # m = n/(1+nτ), m = n·e^(−nτ), and the hybrid of Lee & Gardner, Appl. Radiat. Isot. 53
        # (2000) 731: m = n·e^(−nτ_P)/(1+nτ_N), evaluated independently of the simulation
        (1000.0, 100e-6, 0.0, 909.0909),
        (10000.0, 100e-6, 0.0, 5000.0),
        (1000.0, 0.0, 100e-6, 904.8374),
        (10000.0, 0.0, 100e-6, 3678.794),
        (5000.0, 95e-6, 5e-6, 3306.135),
        (10000.0, 95e-6, 5e-6, 4878.100),
    ],
)
def test_dead_time_gives_the_textbook_rate(
    true: float, tau_n: float, tau_p: float, expected: float
) -> None:
    duration = 1e6 / true
    events = pulses.poisson_times(true, duration, rng(7))
    kept = pulses.recorded(events, non_paralysable_s=tau_n, paralysable_s=tau_p)
    # recorded counts scatter less than Poisson; four Poisson sigmas of the input are ample
    assert kept.size / duration == pytest.approx(expected, rel=4 / np.sqrt(1e6))


def test_non_paralysable_agrees_with_the_plain_loop() -> None:
    events = pulses.poisson_times(3000.0, 1.0, rng(5))
    kept, free = [], -1.0
    for t in events:
        if t >= free:
            kept.append(t)
            free = t + 1e-3
    assert np.array_equal(pulses.recorded(events, non_paralysable_s=1e-3), kept)


def test_ten_million_pulses_in_a_second_or_two() -> None:
    start = time.process_time()
    events = pulses.poisson_times(1e4, 1e3, rng())
    pulses.recorded(events, non_paralysable_s=100e-6)
    assert events.size > 9_900_000
    assert time.process_time() - start < 5.0  # 0.7 s on an idle core; the suite shares its own


def test_decay_halves_the_rate_in_a_half_life() -> None:
    rate = pulses.decaying(400.0, 100.0, 10.0)
    times = pulses.changing_times(rate, 300.0, rng(2))
    for start in (0.0, 100.0, 200.0):
        seen = np.count_nonzero((times >= start) & (times < start + 100))
        # ∫ n·2^(−t/T) dt over one half-life is n·T/(2 ln 2) of its start
        mean = 400.0 * 2 ** (-start / 100) * 100 / (2 * np.log(2)) + 1000
        assert abs(seen - mean) < 4 * np.sqrt(mean)


def test_steps_and_stretches_without_any_rate() -> None:
    rate = pulses.steps(np.array([0.0, 10.0, 20.0]), np.array([100.0, 0.0, 300.0]))
    times = pulses.changing_times(rate, 30.0, rng(2), step_s=0.01)
    assert np.count_nonzero((times > 10.02) & (times < 19.98)) == 0
    assert abs(np.count_nonzero(times < 10) - 1000) < 130
    assert abs(np.count_nonzero(times > 20) - 3000) < 220
    assert pulses.changing_times(lambda t: 0 * t, 5.0, rng()).size == 0
    with pytest.raises(ValueError, match="not negative"):
        pulses.changing_times(lambda t: t - 1, 5.0, rng())


def test_double_pulses_follow_at_their_delay() -> None:
    single = pulses.poisson_times(10.0, 5000.0, rng(4))
    both = pulses.with_double_pulses(single, 5000.0, rng(5), share=0.05, delay_s=300e-6)
    extra = both.size - single.size
    assert abs(extra - 0.05 * single.size) < 4 * np.sqrt(0.05 * single.size)
    short = np.diff(both)
    assert abs(np.count_nonzero((short > 240e-6) & (short < 360e-6)) - extra) < 100


def test_pickup_stands_at_one_phase_of_the_mains() -> None:
    times = pulses.pickup_times(5.0, 500.0, rng(6), mains_hz=50.0, jitter_s=0.0003)
    # Rayleigh statistic: 1 for one phase, about 1/√n for none (textbook)
    strength = abs(np.exp(2j * np.pi * 100.0 * times).mean())
    assert strength > 0.9
    assert times.size / 500.0 == pytest.approx(5.0, rel=0.1)


def test_regular_counts_scatter_less_than_chance() -> None:
    times = pulses.regular_times(20.0, 4000.0, rng(8), order=4)
    counts = np.histogram(times, bins=np.arange(0.0, 4000.0, 10.0))[0]
    # variance over mean of an Erlang renewal process tends to 1/order (textbook)
    assert counts.var() / counts.mean() == pytest.approx(0.25, abs=0.08)


def test_unsteady_voltage_moves_the_rate_along_the_slope() -> None:
    rate = pulses.unsteady_voltage(
        100.0, rng(9), duration_s=1000.0, slope_percent_per_100v=20.0, drift_v=50.0
    )
    assert rate(np.array([0.0, 1000.0])) == pytest.approx([100.0, 110.0])
    shaky = pulses.unsteady_voltage(100.0, rng(9), duration_s=1e5, wander_v=20.0, wander_s=30.0)
    assert shaky(np.arange(0.0, 1e5)).std() == pytest.approx(2.0, rel=0.1)
