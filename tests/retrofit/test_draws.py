"""The joint sample: spreads, and evidence that corrects what it bears on."""

import numpy as np
import pytest

from counterproof.retrofit.draws import Effects, Sample, estimate_of


def test_evidence_on_one_column_moves_what_goes_with_it():
    # closed form of two normal variables: prior N(0, 0.3²) of the logarithm shared by both
    # columns, 0.1 of each its own; an observation of the first with 0.05 (linear least squares)
    sample = Sample(20000, seed=3)
    effects = Effects(
        ("a", "b"), np.array([1.0, 2.0]), np.ones((0, 2)), np.ones((0, 2)), 0.3, np.full(2, 0.1)
    )
    sample.add_tube("t", effects)
    pull = sample.observe(sample["t/a"], np.exp(0.4), 0.05)
    total = 0.3**2 + 0.1**2 + 0.05**2
    assert pull == pytest.approx(0.4 / np.sqrt(total), rel=0.02)
    first, second = np.log(sample["t/a"]), np.log(sample["t/b"] / 2.0)
    assert first.mean() == pytest.approx(0.4 * (0.3**2 + 0.1**2) / total, abs=0.003)
    assert second.mean() == pytest.approx(0.4 * 0.3**2 / total, abs=0.005)
    assert second.var() == pytest.approx(0.3**2 + 0.1**2 - 0.3**4 / total, rel=0.05)


def test_unknowns_reach_their_ends():
    # one unknown, linear in the logarithm from ln 0.5 at 10 % to ln 2 at 90 %: uniform, so the
    # ends of all draws lie at 1.25 times that span
    sample = Sample(4000, seed=1)
    effects = Effects(
        ("a",), np.array([1.0]), np.array([[0.5]]), np.array([[2.0]]), 0.0, np.zeros(1)
    )
    sample.add_tube("t", effects)
    logs = np.log(sample["t/a"])
    assert logs.max() == pytest.approx(1.25 * np.log(2.0), rel=0.01)
    assert logs.std() == pytest.approx(2.5 * np.log(2.0) / np.sqrt(12.0), rel=0.01)


def test_same_seed_same_sample():
    made = []
    for _ in range(2):
        sample = Sample(100, seed=9)
        sample.add("x", 2.0, 0.1)
        sample.observe(sample["x"], 2.2, 0.1)
        made.append(sample["x"])
    assert np.array_equal(*made)


def test_estimate_is_median_and_central_interval():
    e = estimate_of(np.arange(1.0, 1002.0), "1/s")
    assert (e.value, e.low, e.high) == pytest.approx((501.0, 26.0, 976.0))
