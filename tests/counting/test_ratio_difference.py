"""Ratio and difference of two Poisson rates."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy import stats

from counterproof.counting.difference import difference_of, net_rate, rate_difference
from counterproof.counting.poisson import rate_estimate
from counterproof.counting.ratio import rate_ratio, ratio_of
from counterproof.errors import UserError


def test_ratio_against_the_r_package() -> None:
    # M. P. Fay, vignette of the R package rateratio.test: 2 in 17877 against 9 in 16660
    got = rate_ratio(2, 17877, 9, 16660)
    assert got.ratio.value == pytest.approx(0.2070941557, abs=5e-11)
    assert got.p_value == pytest.approx(0.05011, abs=5e-6)
    assert got.ratio.low == pytest.approx(0.02177406, abs=5e-9)
    assert got.ratio.high == pytest.approx(1.00054910, abs=5e-9)


def test_equal_times() -> None:
    # the same exact method, computed independently
    got = rate_ratio(66, 1, 43, 1)
    assert got.p_value == pytest.approx(0.03462, abs=5e-6)
    assert (got.ratio.low, got.ratio.high) == pytest.approx((1.0298, 2.3090), abs=5e-5)


@given(st.integers(0, 400), st.integers(0, 400), st.floats(0.1, 10), st.floats(0.2, 5))
def test_p_value_is_scipys_binomial_tail(n1: int, n2: int, t: float, null: float) -> None:
    share = null * t / (null * t + 1)
    less = stats.binom.cdf(n1, n1 + n2, share)
    more = stats.binom.sf(n1 - 1, n1 + n2, share)
    got = rate_ratio(n1, t, n2, 1.0, null=null)
    assert got.p_value == pytest.approx(min(1, 2 * min(less, more)), rel=1e-6, abs=1e-12)


@given(st.integers(0, 400), st.integers(0, 400), st.floats(0.1, 10))
def test_exchanged_counters_give_the_inverse(n1: int, n2: int, t: float) -> None:
    one, other = rate_ratio(n1, t, n2, 1.0), rate_ratio(n2, 1.0, n1, t)
    assert one.p_value == pytest.approx(other.p_value, rel=1e-9)
    if n1 and n2:
        assert one.ratio.low == pytest.approx(1 / other.ratio.high, rel=1e-9)


def test_zero_counts() -> None:
    none_above = rate_ratio(0, 10, 5, 10).ratio
    assert none_above.value == none_above.low == 0.0
    assert np.isfinite(none_above.high)
    none_below = rate_ratio(5, 10, 0, 10).ratio
    assert none_below.high == np.inf
    assert none_below.low > 0.0
    neither = rate_ratio(0, 10, 0, 10)
    assert np.isnan(neither.ratio.value)
    assert (neither.ratio.low, neither.ratio.high) == (0.0, np.inf)
    assert neither.p_value == 1.0


def test_a_small_systematic_changes_nothing_and_a_large_one_rules() -> None:
    exact = rate_ratio(66, 1, 43, 1).ratio
    nearly = rate_ratio(66, 1, 43, 1, factor_u_rel=1e-6).ratio
    assert (nearly.low, nearly.high) == pytest.approx((exact.low, exact.high), rel=1e-4)
    many = rate_ratio(10**7, 1, 10**7, 1, factor_u_rel=0.1).ratio
    assert (many.low, many.high) == pytest.approx((np.exp(-0.196), np.exp(0.196)), rel=2e-3)


def test_ratio_of_estimates_is_near_the_exact_one() -> None:
    exact = rate_ratio(300, 10, 200, 20).ratio
    near = ratio_of(rate_estimate(300, 10), rate_estimate(200, 20))
    assert near.value == pytest.approx(exact.value)
    assert (near.low, near.high) == pytest.approx((exact.low, exact.high), rel=0.01)


def test_ratio_over_something_that_may_be_zero_is_not_bounded_above() -> None:
    assert ratio_of(rate_estimate(30, 10), rate_estimate(0, 10)).high == np.inf
    weak = net_rate(30, 10, 28, 10)
    assert weak.low < 0
    unbounded = ratio_of(rate_estimate(30, 10), weak)
    assert unbounded.high == np.inf
    assert 0 < unbounded.low < unbounded.value


def test_ratio_of_a_negative_net_rate() -> None:
    negative = net_rate(20, 10, 100, 10)
    ratio = ratio_of(negative, rate_estimate(100, 10))
    assert ratio.low < ratio.value < ratio.high < 0


@given(st.integers(0, 3000), st.floats(0.5, 100), st.integers(0, 3000), st.floats(0.5, 100))
def test_difference_is_antisymmetric(n1: int, t1: float, n2: int, t2: float) -> None:
    one, other = rate_difference(n1, t1, n2, t2), rate_difference(n2, t2, n1, t1)
    assert one.low <= one.value <= one.high
    assert (one.low, one.high) == pytest.approx((-other.high, -other.low), rel=1e-9, abs=1e-12)


def test_net_rate_with_many_counts_is_the_text_books() -> None:
    net = net_rate(9600, 5, 1200, 10)
    # √(9600/25 + 1200/100) = 19.900 per minute (computed independently)
    assert net.u == pytest.approx(19.900, abs=5e-4)
    assert net.high - net.value == pytest.approx(1.96 * 19.9, rel=0.01)
    assert net.value - net.low == pytest.approx(1.96 * 19.9, rel=0.01)


def test_two_zeros_still_have_an_interval() -> None:
    net = net_rate(0, 10, 0, 10)
    assert net.value == 0
    assert net.low < 0 < net.high


def test_estimates_of_different_coverage_are_not_combined() -> None:
    a, b = rate_estimate(3, 1), rate_estimate(3, 1, coverage=0.9)
    for combine in (difference_of, ratio_of):
        with pytest.raises(UserError):
            combine(a, b)
