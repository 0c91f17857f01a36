"""The examiner of click detection must itself be right: known answers for known mistakes."""

import numpy as np
import pytest

from acceptance import _marking, clicks


def test_pairing_is_one_to_one_and_largest() -> None:
    truth = np.array([1.0, 2.0, 2.0015, 3.0])
    found = np.array([1.0005, 1.0007, 2.0008, 3.5])
    a, b = _marking.pair(truth, found, 0.001)
    assert a.tolist() == [0, 1]
    assert b.tolist() == [0, 2]


@pytest.mark.parametrize("late", [-0.0031, 0.0, 0.0012, 0.0099])
def test_a_perfect_detector_with_a_constant_latency_gets_full_marks(late: float) -> None:
    rng = np.random.default_rng(1)
    truth = np.sort(rng.uniform(0, 60, 1200))
    found = truth + late + 20e-6 * rng.standard_normal(truth.size)
    hits, misses, false, latency, spread = _marking.mark(truth, np.sort(found), 0.0)
    # two of 1200 events closer than the scatter may swap, but none is lost
    assert (hits, misses, false) == (1200, 0, 0)
    assert latency == pytest.approx(late, abs=5e-6)
    assert spread == pytest.approx(20e-6, rel=0.15)


def test_misses_false_ones_and_doubles_are_counted() -> None:
    truth = np.arange(1, 101) * 0.1
    found = np.delete(truth, [3, 50])
    found = np.sort(np.concatenate((found, [2.04, 5.25, 7.0005])))  # two stray, one double
    hits, misses, false, _, _ = _marking.mark(truth, found, 0.002)
    assert (hits, misses, false) == (98, 2, 3)


def test_events_within_the_resolving_time_may_be_reported_or_merged() -> None:
    truth = np.array([1.0, 1.002, 2.0, 3.0])
    both, merged = truth, np.array([1.0, 2.0, 3.0])
    for found in (both, merged):
        hits, misses, false, _, _ = _marking.mark(truth, found, 0.003)
        assert (hits, misses, false) == (3, 0, 0)
    hits, misses, false, _, _ = _marking.mark(truth, merged, 0.001)
    assert (hits, misses, false) == (3, 1, 0)


def test_random_answers_fail() -> None:
    rng = np.random.default_rng(2)
    truth, found = (np.sort(rng.uniform(0, 100, 200)) for _ in range(2))
    hits, misses, false, _, _ = _marking.mark(truth, found, 0.004)
    assert 2 * hits / (2 * hits + misses + false) < 0.1


def test_seeds_kept_aside_are_apart_from_those_for_development() -> None:
    assert not set(clicks.DEV_SEEDS) & set(clicks.ASIDE_SEEDS)
