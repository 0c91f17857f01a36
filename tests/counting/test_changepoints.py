"""Changes of a counting rate."""

from __future__ import annotations

import time

import numpy as np
import pytest

from counterproof.counting.changepoints import find_changes
from counterproof.errors import UserError


@pytest.mark.parametrize("bins, mean", [(30, 10.0), (200, 4.0), (800, 0.3)])
def test_false_alarms_are_as_stated(bins: int, mean: float) -> None:
    rng = np.random.default_rng(71)
    runs = 600
    alarms = [bool(find_changes(rng.poisson(mean, bins), None, 0.05).changes) for _ in range(runs)]
    # not above 5 % by more than 3 σ; below it for few counts per bin, as the module says
    assert np.mean(alarms) < 0.05 + 3 * np.sqrt(0.05 * 0.95 / runs)
    assert np.mean(alarms) > 0.01


def test_a_step_is_found_where_it_is() -> None:
    rng = np.random.default_rng(72)
    misplaced = []
    for _ in range(100):
        counts = np.concatenate([rng.poisson(5.0, 120), rng.poisson(9.0, 80)])
        got = find_changes(counts)
        assert len(got.changes) in (1, 2)
        misplaced.append(min(abs(c.index - 120) for c in got.changes))
    assert np.median(misplaced) <= 2
    assert got.changes[0].p_value < 1e-4
    assert got.rates[0].low < 5.0 < got.rates[0].high


def test_a_bump_is_two_changes() -> None:
    rng = np.random.default_rng(73)
    right = 0
    for _ in range(100):
        counts = rng.poisson(4.0, 1000)
        counts[500:530] = rng.poisson(9.0, 30)
        found = [c.index for c in find_changes(counts).changes]
        right += len(found) == 2 and abs(found[0] - 500) < 8 and abs(found[1] - 530) < 8
    assert right > 85


def test_unequal_bins_and_bins_without_counts() -> None:
    rng = np.random.default_rng(74)
    durations = rng.uniform(0.5, 20.0, 300)
    counts = rng.poisson(0.2 * durations)
    assert not find_changes(counts, durations).changes
    counts[150:] = 0
    got = find_changes(counts, durations)
    assert len(got.changes) == 1
    assert got.changes[0].time_s == pytest.approx(durations[:150].sum(), abs=60)
    assert got.rates[1].value == 0.0
    assert not find_changes(np.zeros(50)).changes


def test_a_day_of_seconds_takes_seconds() -> None:
    rng = np.random.default_rng(75)
    counts = rng.poisson(0.5, 100_000)
    counts[40_000:40_600] += rng.poisson(0.5, 600)
    start = time.process_time()
    got = find_changes(counts)
    assert time.process_time() - start < 5.0
    assert len(got.changes) == 2


def test_bad_input_gets_a_sentence() -> None:
    with pytest.raises(UserError):
        find_changes([5])
    with pytest.raises(UserError):
        find_changes([5, 6, 7], [1.0, 1.0])
