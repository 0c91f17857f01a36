"""Shape of the intervals, double pulses, pickup, serial correlation."""

from __future__ import annotations

import numpy as np
import pytest
from scipy import stats

from counterproof.counting.deadtime import impose_dead_time
from counterproof.counting.intervals import exponential_test, short_excess
from counterproof.counting.periodicity import mains_test, rayleigh_test
from counterproof.counting.serial import serial_correlation
from counterproof.errors import UserError


def train(rng: np.random.Generator, rate: float, span: float) -> np.ndarray:
    return np.sort(rng.uniform(0, span, rng.poisson(rate * span)))


@pytest.mark.parametrize("dead", [0.0, None])
def test_anderson_darling_has_its_size(dead: float | None) -> None:
    # the p value formulas are from memory: uniform p values under the hypothesis confirm them
    rng = np.random.default_rng(51)
    p = [exponential_test(0.001 + rng.exponential(2.0, 80), dead).p_value for _ in range(1500)]
    if dead == 0.0:
        p = [exponential_test(rng.exponential(2.0, 80), dead).p_value for _ in range(1500)]
    for level in (0.01, 0.05, 0.2, 0.5):
        assert np.mean(np.array(p) < level) == pytest.approx(
            level, abs=3.5 * np.sqrt(level * (1 - level) / 1500) + 0.004
        )


def test_anderson_darling_statistic_is_scipys() -> None:
    rng = np.random.default_rng(52)
    x = rng.gamma(1.3, 1.0, 200)
    scipys = stats.anderson(x, "expon", method="interpolate").statistic
    assert exponential_test(x).a2 == pytest.approx(scipys * (1 + 0.6 / 200), rel=1e-10)


def test_dead_time_is_found_missing() -> None:
    rng = np.random.default_rng(53)
    kept = np.diff(impose_dead_time(train(rng, 100.0, 60.0), 2e-3))
    assert exponential_test(kept, 0.0).p_value < 1e-3
    with_it = exponential_test(kept, 2e-3)
    assert with_it.p_value > 0.01
    assert with_it.rate_per_s == pytest.approx(100, rel=0.05)
    assert exponential_test(kept, None).dead_time_s == pytest.approx(2e-3, abs=2e-5)


def doubled(rng: np.random.Generator, rate: float, span: float, share: float) -> np.ndarray:
    times = train(rng, rate, span)
    again = times[rng.uniform(size=times.size) < share]
    return np.sort(np.concatenate([times, again + rng.uniform(1e-3, 4e-3, again.size)]))


def test_double_pulses_are_found_and_their_share_covers() -> None:
    rng = np.random.default_rng(54)
    inside, found = [], []
    for _ in range(300):
        times = doubled(rng, 2.0, 600.0, 0.03)
        got = short_excess(np.diff(times), window_s=5e-3)
        true = 0.03 / 1.03
        inside.append(got.share.low <= true <= got.share.high)
        found.append(short_excess(np.diff(times)).p_value < 0.01)
    # rate_estimate's exact limits over-cover a little
    assert 0.93 < np.mean(inside) <= 1.0
    assert np.mean(found) > 0.99


def test_double_pulses_are_not_found_where_there_are_none() -> None:
    rng = np.random.default_rng(55)
    p = [short_excess(np.diff(train(rng, 2.0, 300.0))).p_value for _ in range(1000)]
    assert np.mean(np.array(p) < 0.05) <= 0.05 + 0.02
    assert np.mean(np.array(p) < 0.05) > 0.005


def test_rayleigh_has_its_size_at_few_and_many_pulses() -> None:
    rng = np.random.default_rng(56)
    for rate in (0.4, 20.0):
        p = [rayleigh_test(train(rng, rate, 120.0), 50.0).p_value for _ in range(800)]
        assert np.mean(np.array(p) < 0.05) == pytest.approx(0.05, abs=0.025)


def pickup(rng: np.random.Generator, share: float, wander: float = 0.03) -> np.ndarray:
    """Background at 0.5/s for 10 minutes and pulses locked to a mains that wanders."""
    span, rate = 600.0, 0.5
    cycles = np.cumsum(50.0 + wander * np.sin(np.arange(0, span, 0.01) / 60)) * 0.01
    n = rng.poisson(share * rate * span)
    whole = rng.choice(int(cycles[-1]), n, replace=False)
    locked = np.interp(whole, cycles, np.arange(0, span, 0.01)) + rng.normal(0, 5e-4, n)
    return np.sort(np.concatenate([train(rng, (1 - share) * rate, span), locked.clip(0, span)]))


def test_pickup_is_found_although_the_mains_wanders() -> None:
    rng = np.random.default_rng(57)
    tests = [mains_test(pickup(rng, 0.5)) for _ in range(60)]
    assert np.mean([t.p_value < 0.01 for t in tests]) > 0.9
    # nearly in phase, so nearly the whole half is found at the fundamental
    shares = [t.tests[0].share for t in tests]
    assert np.mean(shares) == pytest.approx(0.5, abs=0.1)
    assert not any(mains_test(pickup(rng, 0.0)).p_value < 1e-4 for _ in range(60))


def test_double_pulses_are_not_taken_for_pickup() -> None:
    rng = np.random.default_rng(58)
    p = [mains_test(doubled(rng, 5.0, 120.0, 0.5)).p_value for _ in range(200)]
    assert np.mean(np.array(p) < 0.01) < 0.04


def test_seen_share_is_about_what_is_found_half_the_time() -> None:
    rng = np.random.default_rng(59)
    plan = rayleigh_test(train(rng, 0.5, 600.0), 50.0)
    found = [
        rayleigh_test(pickup(rng, plan.seen_share, 0.0), 50.0).p_value < 0.01 for _ in range(150)
    ]
    assert 0.35 < np.mean(found) < 0.65


def test_serial_correlation_has_its_size_and_sees_smoothing() -> None:
    rng = np.random.default_rng(60)
    tests = [serial_correlation(rng.poisson(0.7, 60)) for _ in range(1500)]
    assert np.mean([t.p_first < 0.05 for t in tests]) == pytest.approx(0.05, abs=0.017)
    assert np.mean([t.p_value < 0.05 for t in tests[:800]]) == pytest.approx(0.05, abs=0.023)
    assert np.mean([t.coefficients[0] for t in tests]) == pytest.approx(0.0, abs=0.012)
    counts = rng.poisson(10, 203)
    smooth = serial_correlation(counts[3:] + counts[2:-1] + counts[1:-2] + counts[:-3])
    # sums over four intervals share three of four: correlation 3/4, less a little for ranks
    assert smooth.coefficients[0] == pytest.approx(0.73, abs=0.08)
    assert smooth.p_first < 1e-6


@pytest.mark.parametrize(
    "call",
    [
        lambda: exponential_test([1.0] * 5),
        lambda: exponential_test([0.1] * 20, 0.2),
        lambda: exponential_test([-0.1] * 20),
        lambda: short_excess([1.0] * 20, 0.0, 5.0),
        lambda: rayleigh_test([1.0], 50.0),
        lambda: rayleigh_test([1.0, 100.0], 50.0),
        lambda: serial_correlation([3] * 50),
        lambda: serial_correlation([3, 4]),
    ],
)
def test_bad_input_gets_a_sentence(call) -> None:  # type: ignore[no-untyped-def]
    with pytest.raises(UserError):
        call()
