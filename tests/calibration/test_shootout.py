"""Ranking of counters: the stated odds are right, and a short run is no disadvantage."""

import math

import numpy as np
import pytest

from counterproof.calibration.shootout import Seen, rank, schedule_places
from counterproof.errors import UserError


def drawn(rng: np.random.Generator, us: list[float], sources: int = 4) -> tuple[dict, dict]:
    """Counters with true deviations and what was seen of them; one u for each counter."""
    truth = {f"c{i}": rng.normal(0.0, 0.2, sources) for i in range(len(us))}
    seen = {
        name: {f"s{k}": Seen(rng.normal(x[k], u), u) for k in range(sources)}
        for (name, x), u in zip(truth.items(), us, strict=True)
    }
    return truth, seen


def test_the_odds_are_what_they_say() -> None:
    # calibration of the stated probability of the first place, against drawn truths
    rng = np.random.default_rng(1)
    said, right = [], []
    for _ in range(120):
        truth, seen = drawn(rng, [0.05, 0.1, 0.1, 0.2])
        found = rank(seen, draws=1500)
        real = min(truth, key=lambda n: float(np.mean(truth[n] ** 2)))
        said.append(found.placings[0].first)
        right.append(found.placings[0].name == real)
    u = math.sqrt(sum(p * (1 - p) for p in said)) / len(said)
    assert np.mean(right) == pytest.approx(np.mean(said), abs=3 * u)


def test_a_short_run_is_no_disadvantage() -> None:
    # two counters alike in truth, one measured so briefly that it scatters four times as much:
    # without taking the scatter out it would come last nine times in ten
    rng = np.random.default_rng(2)
    briefly = 0
    for _ in range(100):
        x = rng.normal(0.0, 0.1, 6)
        seen = {
            "long": {f"s{k}": Seen(rng.normal(x[k], 0.05), 0.05) for k in range(6)},
            "short": {f"s{k}": Seen(rng.normal(x[k], 0.2), 0.2) for k in range(6)},
        }
        briefly += rank(seen, draws=1500).placings[0].name == "short"
    assert 25 <= briefly <= 75


def test_grades_hold_for_every_source_at_once() -> None:
    def of(*ratios: float, u: float = 0.01, truth_u: float = 0.0) -> tuple[str, str]:
        seen = {f"s{i}": Seen(math.log(r), u, truth_u) for i, r in enumerate(ratios)}
        (p,) = rank({"one": seen}).placings
        return p.grade, p.at_best

    assert of(1.02, 0.97) == ("A", "A")
    assert of(1.02, 0.85) == ("B", "B")
    assert of(1.25, 1.0) == ("C", "C")
    assert of(1.0, 0.6) == ("none", "none")
    assert of(1.0, u=0.08) == ("B", "A")
    assert of(1.0, truth_u=0.12) == ("C", "A")


def test_a_day_is_fair() -> None:
    rows = schedule_places(["a", "b", "c"], 3, 3)
    for place in range(3):
        assert {row[place] for row in rows} == {"a", "b", "c"}
    two = schedule_places(["a", "b", "c"], 2, 3)
    seats = [name for row in two for name in row]
    assert {n: seats.count(n) for n in "abc"} == {"a": 2, "b": 2, "c": 2}
    with pytest.raises(UserError):
        schedule_places([], 1, 1)


def test_nothing_to_rank() -> None:
    with pytest.raises(UserError, match="reference"):
        rank({"a": {}})
