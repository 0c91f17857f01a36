"""Statistics from a display alone."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from counterproof.counting.poisson import rate_estimate
from counterproof.counting.readings import (
    displayed_average,
    mean_correlation,
    momentary_mean,
    register_rate,
)
from counterproof.errors import UserError


@given(
    st.lists(st.floats(0, 500), min_size=1, max_size=40),
    st.floats(0.5, 100),
    st.sampled_from(["boxcar", "exponential"]),
)
def test_mean_correlation_is_the_double_sum(times: list[float], window: float, shape: str) -> None:
    t = np.sort(times)
    gap = np.abs(t[:, None] - t)
    rho = np.maximum(0, 1 - gap / window) if shape == "boxcar" else np.exp(-gap / window)
    got = mean_correlation(t, window, shape)  # type: ignore[arg-type]
    assert got == pytest.approx(rho.mean(), rel=1e-7)


def boxcar(times: np.ndarray, at: np.ndarray, window: float) -> np.ndarray:
    """What a display with a boxcar window shows."""
    return (np.searchsorted(times, at) - np.searchsorted(times, at - window)) / window


def test_readings_a_window_apart_are_a_count_over_the_whole_time() -> None:
    at = np.arange(40.0, 440.0, 40.0)
    got = momentary_mean(at, np.full(10, 2.5), 40.0, counts_per_s_per_unit=1.0)
    same = rate_estimate(1000, 400.0)
    assert got.counts == pytest.approx(1000)
    assert (got.u, got.low, got.high) == pytest.approx((same.u, same.low, same.high))


@pytest.mark.parametrize("factor", [None, 2.0])
def test_momentary_intervals_cover(factor: float | None) -> None:
    # 600 s of a boxcar of 40 s read every 5 s: 15 windows, not 112 independent readings
    rng = np.random.default_rng(21)
    inside = 0
    at = np.arange(40.0, 600.0, 5.0)
    for _ in range(1500):
        times = np.sort(rng.uniform(0, 600, rng.poisson(1.2 * 600)))
        shown = boxcar(times, at, 40.0) / 2.0
        got = momentary_mean(at, shown, 40.0, counts_per_s_per_unit=factor)
        inside += got.low <= 0.6 <= got.high
    assert inside / 1500 == pytest.approx(0.955, abs=0.02)


def test_ignoring_the_window_would_not_cover() -> None:
    at = np.arange(40.0, 600.0, 5.0)
    rho = mean_correlation(at, 40.0)
    assert 1 / rho < 16
    assert mean_correlation(at, 0.0) == pytest.approx(1 / 112)


def test_constant_readings_keep_the_quantum() -> None:
    got = momentary_mean(np.arange(0, 300, 10.0), np.full(30, 0.12), 10.0, quantum=0.01)
    assert got.u == pytest.approx(0.01 / np.sqrt(12))


def test_displayed_average_holds_rounding_and_counts() -> None:
    exact = rate_estimate(120, 600.0)
    plain = displayed_average(0.2, 600.0, 1.0)
    assert (plain.low, plain.high) == pytest.approx((exact.low, exact.high))
    coarse = displayed_average(0.2, 600.0, 1.0, quantum=0.1)
    assert coarse.low < plain.low
    assert coarse.high > plain.high
    assert displayed_average(0.0, 600.0, 1.0).high == pytest.approx(3.6889 / 600, abs=1e-7)


def test_register_intervals_cover() -> None:
    # dose register in steps of 0.01 with 3 counts per step: 30 minutes at 0.1 per s
    rng = np.random.default_rng(22)
    rate, per_unit, quantum, elapsed = 0.1, 300.0, 0.01, 1800.0
    inside = 0
    for _ in range(2000):
        begin = rng.uniform(0, 1000)
        finish = begin + rng.poisson(rate * elapsed)
        read = [np.floor(c / per_unit / quantum) * quantum for c in (begin, finish)]
        got = register_rate(*read, elapsed, per_unit, quantum=quantum)
        inside += got.low <= rate / per_unit <= got.high
    assert inside / 2000 >= 0.95


def test_a_register_that_did_not_move() -> None:
    got = register_rate(1.23, 1.23, 3600.0, 100.0, quantum=0.01)
    assert got.value == got.low == 0.0
    assert got.high == pytest.approx(5.5716 / 100 / 3600, rel=1e-4)  # one count is hidden at most


@pytest.mark.parametrize(
    "call",
    [
        lambda: register_rate(2.0, 1.0, 10.0, 1.0),
        lambda: register_rate(-2.0, 1.0, 10.0, 1.0),
        lambda: displayed_average(1.0, 0.0, 1.0),
        lambda: momentary_mean([0.0, 1.0, 2.0], [1.0, 2.0], 5.0),
        lambda: momentary_mean([0.0, 1.0, 2.0], [1.0, 2.0, 1.0], 50.0),
        lambda: momentary_mean([0.0], [1.0], 5.0),
        lambda: momentary_mean([0.0, 9.0, 20.0], [1.0, 1.0, 2.0], 5.0, "triangle"),
    ],
)
def test_bad_input_gets_a_sentence(call) -> None:  # type: ignore[no-untyped-def]
    with pytest.raises(UserError):
        call()
