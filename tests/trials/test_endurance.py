"""The endurance trial: hours measured, calculated or bounded, against the claim."""

import math
from dataclasses import replace

import numpy as np
import pytest

from counterproof.quantities import Estimate
from counterproof.records import Measured, Outcome
from counterproof.trials.criteria import profile
from counterproof.trials.endurance import TRIAL, hours_of
from counterproof.trials.shape import Ask, Counter, Evidence
from tests.trials.conftest import Make

GRADE = profile("grade_b")


@pytest.fixture
def claimed(lantern: Counter) -> Counter:
    return replace(lantern, claims={"endurance_h": 20.0}, capacity_mah=1000.0)


def run(make: Make, counter: Counter, hours: float = 1.0, **conditions: float | str) -> Evidence:
    return make(counter, 0.0, 3600.0 * hours, count=0, conditions=conditions)


def hours(outcome: Outcome, row: int = 0) -> Estimate:
    found = outcome.table[row].values["hours"]
    assert isinstance(found, Measured)
    return found.estimate()


def test_a_current_over_the_capacity(make: Make, claimed: Counter) -> None:
    # 1000 mAh over 40 mA: 25 h; over 100 mA: 10 h
    runs = [run(make, claimed, current_ma=40.0, mode="quiet")]
    runs += [run(make, claimed, current_ma=c, mode="lit") for c in (90.0, 110.0)]
    outcome = TRIAL.analyse(claimed, runs, GRADE)
    assert [hours(outcome, i).value for i in (0, 1)] == pytest.approx([25.0, 10.0])
    assert hours(outcome).relative_u == pytest.approx(0.10)
    assert [j.verdict for j in outcome.judgements] == ["met", "not met"]
    assert outcome.verdict == "not met"
    assert outcome.judgements[0].criterion is not None
    assert outcome.judgements[0].criterion.source == "the maker's claim"


def test_an_emptied_battery_comes_before_a_current(make: Make, claimed: Counter) -> None:
    runs = [
        run(make, claimed, 15.0, battery_empty="1", mode="quiet"),
        run(make, claimed, current_ma=40.0, mode="quiet"),
    ]
    outcome = TRIAL.analyse(claimed, runs, GRADE)
    assert hours(outcome).value == pytest.approx(15.0)
    assert outcome.table[0].values["hours, from"] == "run until the battery was empty"
    assert outcome.verdict == "not met"


@pytest.mark.parametrize("repeats", [1, 2, 4])
def test_intervals_cover_batteries_that_differ_by_five_percent(
    repeats: int, make: Make, claimed: Counter
) -> None:
    rng = np.random.default_rng(41)
    inside = 0
    for _ in range(300):
        lasted = rng.normal(20.0, 1.0, repeats)  # the 5 % that the trial assumes
        group = [run(make, claimed, float(h), battery_empty="1") for h in lasted]
        found = hours_of(claimed, group)
        assert found is not None
        inside += found[0].low <= 20.0 <= found[0].high
    # never surer than the assumed 5 % and wider where the repeats scatter more
    assert 0.93 <= inside / 300 <= 1.0


def test_a_run_ended_early_bounds_from_below(make: Make, claimed: Counter) -> None:
    short = TRIAL.analyse(claimed, [run(make, claimed, 12.0, battery_empty="0", mode="m")], GRADE)
    assert short.verdict == "cannot tell yet"
    assert short.judgements[0].more_minutes == pytest.approx(8.0 * 60.0)
    assert math.isinf(hours(short).high)
    assert any("lower bound" in w for w in short.warnings)
    long = TRIAL.analyse(claimed, [run(make, claimed, 21.0, battery_empty="0", mode="m")], GRADE)
    assert long.verdict == "met"


def test_a_measured_bound_beats_a_smaller_calculation(make: Make, claimed: Counter) -> None:
    runs = [
        run(make, claimed, 30.0, battery_empty="0", mode="m"),
        run(make, claimed, current_ma=50.0, mode="m"),  # 20 h by calculation
    ]
    outcome = TRIAL.analyse(claimed, runs, GRADE)
    assert hours(outcome).low == pytest.approx(30.0)


def test_without_a_claim_hours_are_stated(make: Make, lantern: Counter) -> None:
    runs = [run(make, lantern, 20.0, battery_empty="1", mode="quiet")]
    outcome = TRIAL.analyse(lantern, runs, GRADE)
    assert outcome.verdict == "no criterion"
    assert any("No claim" in w for w in outcome.warnings)


def test_what_is_missing_is_said(make: Make, lantern: Counter) -> None:
    outcome = TRIAL.analyse(lantern, [run(make, lantern, current_ma=40.0)], GRADE)
    assert outcome.verdict == "cannot tell yet"
    assert any("capacity is not known" in w for w in outcome.warnings)
    assert any("in which mode" in w for w in outcome.warnings)
    assert not TRIAL.serves(lantern, [make(lantern, 1.0, 60.0)])


def test_the_plan_lasts_as_long_as_the_claim(claimed: Counter) -> None:
    plan = TRIAL.plan(Ask(claimed))
    assert plan.total_minutes == pytest.approx(20 * 60)
    assert any("lithium" in c for c in plan.cautions)
