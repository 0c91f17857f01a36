"""Exact Poisson limits and the true rate behind a count."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy import stats

from counterproof.counting.deadtime import impose_dead_time
from counterproof.counting.poisson import (
    counts_estimate,
    counts_limits,
    lower_limit,
    rate_estimate,
    rate_from_times,
    rate_limits,
    upper_limit,
)
from counterproof.errors import UserError

# Garwood's limits by the chi-squared form, computed independently; they agree with the
# frequentist-confidence interval of astropy.stats.poisson_conf_interval.
GARWOOD = [
    (0, 0.0, 1.8410, 0.0, 3.6889),
    (1, 0.1728, 3.2995, 0.0253, 5.5716),
    (2, 0.7082, 4.6379, 0.2422, 7.2247),
    (3, 1.3673, 5.9182, 0.6187, 8.7673),
    (5, 2.8403, 8.3825, 1.6235, 11.6683),
    (10, 6.8913, 14.2669, 4.7954, 18.3904),
    (20, 15.5656, 25.5465, 12.2165, 30.8884),
    (100, 90.0167, 111.0334, 81.364, 121.627),
]
ONE_SIGMA = 0.6826894921370859  # what "68.27 %" abbreviates


@pytest.mark.parametrize("n, low68, high68, low95, high95", GARWOOD)
def test_garwood_table(n: int, low68: float, high68: float, low95: float, high95: float) -> None:
    assert counts_limits(n, ONE_SIGMA) == pytest.approx((low68, high68), abs=6e-5)
    assert counts_limits(n) == pytest.approx((low95, high95), abs=6e-4 if n == 100 else 6e-5)


def test_one_sided_upper_limits() -> None:
    # same formula, one-sided: -ln 0.05 for zero counts
    assert upper_limit([0, 1]) == pytest.approx([2.9957, 4.7439], abs=5e-5)
    assert float(lower_limit(0)) == 0.0


def test_against_scipys_chi_squared() -> None:
    n = np.arange(1, 2000, 37)
    low, high = counts_limits(n, 0.9)
    assert low == pytest.approx(stats.chi2.ppf(0.05, 2 * n) / 2, rel=1e-10)
    assert high == pytest.approx(stats.chi2.ppf(0.95, 2 * n + 2) / 2, rel=1e-10)


@given(st.integers(0, 10**6), st.floats(0.5, 0.999))
def test_limits_hold_the_count_and_grow_with_it(n: int, coverage: float) -> None:
    low, high = counts_limits([n, n + 1], coverage)
    assert low[0] <= n <= high[0]
    assert low[0] < low[1]
    assert high[0] < high[1]


@given(st.integers(0, 5000), st.floats(0.1, 1e5))
def test_plain_rate_is_garwood_over_live_time(n: int, live: float) -> None:
    rate = rate_estimate(n, live)
    low, high = rate_limits(n, live)
    assert (rate.low, rate.high) == pytest.approx((float(low), float(high)), rel=1e-9)
    assert rate.value == n / live


def test_zero_counts_claim_no_certainty() -> None:
    rate = rate_estimate(0, 100.0)
    assert rate.value == rate.low == 0.0
    assert rate.high == pytest.approx(0.036889, abs=1e-6)
    assert rate.u == pytest.approx(0.01)
    assert counts_estimate(0).u == 1.0


def test_dead_time_uncertainty_of_the_text_books() -> None:
    # u(n) = sqrt(m/T)/(1 - m tau): m = 1000 /s, T = 60 s, tau = 100 µs -> 4.536 /s
    # (Knoll's form, from memory; computed independently)
    rate = rate_estimate(60_000, 60.0, resolving_time_s=1e-4)
    assert rate.value == pytest.approx(1111.111, abs=5e-4)
    assert rate.u == pytest.approx(4.536, abs=5e-4)


@given(st.integers(1, 300), st.floats(0.0, 0.004))
def test_exact_limits_with_dead_time_solve_the_exact_tail(n: int, tau: float) -> None:
    total = 2.0
    rate = rate_estimate(n, total, resolving_time_s=tau)
    assert stats.gamma.cdf(rate.low * (total - (n - 1) * tau), n) == pytest.approx(0.025)
    assert stats.gamma.sf(rate.high * (total - n * tau), n + 1) == pytest.approx(0.025)


def test_uncertain_corrections_widen_smoothly_into_the_exact_limits() -> None:
    exact = rate_estimate(40, 20.0, efficiency=0.9, false_rate_per_s=0.02, resolving_time_s=2e-3)
    nearly = rate_estimate(
        40,
        20.0,
        efficiency=0.9,
        efficiency_u=1e-9,
        false_rate_per_s=0.02,
        resolving_time_s=2e-3,
    )
    wide = rate_estimate(
        40,
        20.0,
        efficiency=0.9,
        efficiency_u=0.05,
        false_rate_per_s=0.02,
        resolving_time_s=2e-3,
    )
    assert (nearly.low, nearly.high) == pytest.approx((exact.low, exact.high), rel=1e-5)
    assert wide.low < exact.low
    assert wide.high > exact.high


def test_limits_with_many_counts_follow_the_efficiency() -> None:
    # at 10^6 counts the efficiency's 5 % is all that is left: the ends are those of 1/efficiency
    rate = rate_estimate(1_000_000, 1000.0, efficiency=0.8, efficiency_u=0.04)
    assert rate.high == pytest.approx(1000.0 / (0.8 - 1.96 * 0.04), rel=2e-3)
    assert rate.low == pytest.approx(1000.0 / (0.8 + 1.96 * 0.04), rel=2e-3)


def test_an_unknown_efficiency_leaves_no_upper_end() -> None:
    assert rate_estimate(100, 10.0, efficiency=0.5, efficiency_u=0.4).high == np.inf


def test_false_events_alone_give_zero_not_less() -> None:
    rate = rate_estimate(3, 100.0, false_rate_per_s=0.1)
    assert rate.value == rate.low == 0.0
    assert rate.high >= 0.0


@pytest.mark.parametrize(
    "arguments",
    [
        {"counts": -1, "live_s": 1.0},
        {"counts": float("nan"), "live_s": 1.0},
        {"counts": 1, "live_s": 0.0},
        {"counts": 1, "live_s": 1.0, "efficiency": 0.0},
        {"counts": 1, "live_s": 1.0, "false_rate_per_s": -1.0},
        {"counts": 1000, "live_s": 1.0, "resolving_time_s": 0.001},
        {"counts": 1, "live_s": 1.0, "coverage": 95.0},
    ],
)
def test_bad_input_gets_a_sentence(arguments: dict[str, float]) -> None:
    with pytest.raises(UserError):
        rate_estimate(**arguments)


@given(st.lists(st.floats(0, 1), max_size=60), st.floats(0, 0.2))
def test_imposed_dead_time_is_that_of_a_plain_loop(times: list[float], tau: float) -> None:
    times = sorted(times)
    kept: list[float] = []
    for t in times:
        if not kept or t >= kept[-1] + tau:
            kept.append(t)
    # the plain loop is the definition; an event exactly at the end of the dead time counts
    assert impose_dead_time(times, tau) == pytest.approx(kept, abs=1e-12)


def test_imposed_dead_time_gives_the_non_paralysable_rate() -> None:
    rng = np.random.default_rng(7)
    times = np.cumsum(rng.exponential(1 / 200.0, 200_000))
    kept = impose_dead_time(times, 0.004)
    assert kept.size / times[-1] == pytest.approx(200 / 1.8, rel=0.01)


@given(st.lists(st.floats(0, 100), max_size=60), st.just(0.0) | st.floats(1e-6, 0.5))
def test_times_without_close_events_give_the_plain_rate(times: list[float], tau: float) -> None:
    kept = impose_dead_time(sorted(times), tau)
    plain = rate_estimate(kept.size, 101.0, resolving_time_s=tau)
    listed = rate_from_times(kept, 101.0, resolving_time_s=tau)
    assert listed.counts == plain.counts
    assert (listed.value, listed.low, listed.high) == pytest.approx(
        (plain.value, plain.low, plain.high), rel=1e-9
    )


def test_close_events_that_are_sometimes_merged_do_not_bias_the_rate() -> None:
    # a detector that reports an event within 4 ms of the last reported one half of the time
    rng = np.random.default_rng(8)
    inside, values = [], []
    for _ in range(400):
        reported: list[float] = []
        for t in np.sort(rng.uniform(0, 20, rng.poisson(100 * 20))):
            if not reported or t > reported[-1] + 4e-3 or rng.uniform() < 0.5:
                reported.append(float(t))
        got = rate_from_times(reported, 20.0, resolving_time_s=4e-3)
        inside.append(got.low <= 100 <= got.high)
        values.append(got.value)
    assert np.mean(values) == pytest.approx(100, abs=0.5)
    assert np.mean(inside) == pytest.approx(0.955, abs=0.033)
    with pytest.raises(UserError):
        rate_from_times([2.0, 1.0], 3.0)
