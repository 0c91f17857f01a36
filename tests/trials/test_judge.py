"""Judging: the interval decides, and time is asked for only where time would tell."""

import math

import pytest

from counterproof.quantities import Estimate
from counterproof.records import Criterion
from counterproof.trials.judge import judge

WITHIN = Criterion(name="grade", statement="within a fifth", source="ours", low=0.8, high=1.2)


def ratio(value: float, u: float) -> Estimate:
    return Estimate(value, u, value - 1.96 * u, value + 1.96 * u)


@pytest.mark.parametrize(
    "value,u,verdict",
    [
        (1.0, 0.05, "met"),
        (1.5, 0.05, "not met"),
        (0.5, 0.05, "not met"),
        (1.15, 0.05, "cannot tell yet"),
        (1.25, 0.05, "cannot tell yet"),
    ],
)
def test_the_interval_decides(value: float, u: float, verdict: str) -> None:
    found = judge("ratio", ratio(value, u), WITHIN, 600.0)
    assert found.verdict == verdict
    assert found.statement.startswith("ratio")
    assert (found.more_minutes is not None) == (verdict == "cannot tell yet")


def test_the_minutes_asked_for_would_settle_it() -> None:
    """With the time that is asked for, the same value is settled (counting part ~ 1/√t)."""
    first = judge("ratio", ratio(1.15, 0.05), WITHIN, 600.0)
    assert first.more_minutes is not None
    longer = 600.0 + 60.0 * first.more_minutes
    later = judge("ratio", ratio(1.15, 0.05 * math.sqrt(600.0 / longer) * 0.999), WITHIN, longer)
    assert later.verdict == "met"


def test_no_time_is_asked_for_where_time_cannot_tell() -> None:
    found = judge("ratio", ratio(1.15, 0.05), WITHIN, 600.0, fixed_u=0.04)
    assert found.verdict == "cannot tell yet"
    assert found.more_minutes is None
    assert "not counting time" in found.statement


def test_without_a_criterion_the_value_is_only_stated() -> None:
    assert judge("ratio", ratio(1.0, 0.1), None, 60.0).verdict == "no criterion"


def test_what_was_not_measured_is_not_judged() -> None:
    nothing = Estimate(math.nan, math.inf, 0.0, math.inf)
    assert judge("ratio", nothing, WITHIN, 60.0).verdict == "cannot tell yet"
