"""The light trial: an excess found, none found with its power, and runs that do not suffice."""

import pytest

from counterproof.counting.planning import power_to_tell_apart
from counterproof.records import Outcome
from counterproof.trials.criteria import profile
from counterproof.trials.light import LIT, TRIAL, smallest_excess
from counterproof.trials.shape import Ask, Counter, Evidence
from tests.trials.conftest import Make

GRADE = profile("grade_b")


def scene(lantern: Counter, make: Make, lamp: float, ultraviolet: float) -> list[Evidence]:
    rates = {"dark": 0.5, "lamp": lamp, "ultraviolet": ultraviolet}
    return [
        make(lantern, r, 7200.0, conditions={"light": light}, seed=4) for light, r in rates.items()
    ]


def test_an_ultraviolet_excess_is_found(lantern: Counter, make: Make) -> None:
    outcome = TRIAL.analyse(lantern, scene(lantern, make, 0.5, 1.0), GRADE)
    assert outcome.verdict == "not met"
    assert "ultraviolet lamp gives" in outcome.statement
    assert outcome.judgements[1].measured.value == pytest.approx(2.0, abs=0.2)
    p = outcome.table[1].values["p"]
    assert isinstance(p, float)
    assert p < 1e-10


def test_nothing_seen_says_what_would_have_been(lantern: Counter, make: Make) -> None:
    outcome = TRIAL.analyse(lantern, scene(lantern, make, 0.5, 0.5), GRADE)
    assert "no excess by light was seen" in outcome.statement
    assert "would have been noticed" in outcome.statement
    least = outcome.table[0].values["would have noticed above"]
    assert isinstance(least, float)
    # normal approximation of two Poisson rates: (2.576 + 0.842) √(2/3600) = 8.1 %
    assert least == pytest.approx(0.081, abs=0.008)


def test_the_smallest_excess_has_the_power_it_claims() -> None:
    least = smallest_excess(0.3, 1000.0, 2000.0)
    assert least is not None
    power = power_to_tell_apart(0.3 * (1 + least), 0.3, 1000.0, 2000.0, 0.01)
    assert power == pytest.approx(0.8, abs=0.02)
    assert smallest_excess(0.01, 10.0, 10.0) is None
    assert smallest_excess(0.0, 10.0, 10.0) is None


def test_false_alarms_are_rare(lantern: Counter, make: Make) -> None:
    found = 0
    for seed in range(60):
        runs = [make(lantern, 0.5, 600.0, conditions={"light": "dark"}, seed=seed)]
        runs.append(make(lantern, 0.5, 600.0, conditions={"light": "lamp"}, seed=seed))
        found += "lamp gives" in TRIAL.analyse(lantern, runs, GRADE).statement
    assert found <= 3  # 1 in 200 on the upper side; four or more would be p < 0.001


def test_displays_alone_give_a_ratio_and_no_test(lantern: Counter, make: Make) -> None:
    runs = [
        make(lantern, 0, 600.0, pulses=False, display=d, conditions={"light": light})
        for light, d in (("dark", 0.1), ("lamp", 0.1))
    ]
    outcome = TRIAL.analyse(lantern, runs, GRADE)
    assert "p" not in outcome.table[0].values
    assert outcome.verdict == "cannot tell yet"
    assert "would not have noticed" in outcome.statement


class TestInsufficient:
    """Runs that do not suffice say what is missing and give no verdict."""

    def test_no_dark_run(self, lantern: Counter, make: Make) -> None:
        self.refused(TRIAL.analyse(lantern, scene(lantern, make, 0.5, 1.0)[1:], GRADE), "no dark")

    def test_only_a_dark_run(self, lantern: Counter, make: Make) -> None:
        outcome = TRIAL.analyse(lantern, scene(lantern, make, 0.5, 1.0)[:1], GRADE)
        self.refused(outcome, "light = lamp")

    def test_nothing_of_the_kind(self, lantern: Counter, make: Make) -> None:
        runs = [make(lantern, 0.5, 600.0)]
        assert not TRIAL.serves(lantern, runs)
        self.refused(TRIAL.analyse(lantern, runs, GRADE), "no dark")

    def test_a_source_came_with_the_lamp(self, lantern: Counter, make: Make) -> None:
        runs = scene(lantern, make, 0.5, 0.5)[:1]
        runs.append(make(lantern, 2.0, 600.0, sources=("salt",), conditions={"light": "lamp"}))
        self.refused(TRIAL.analyse(lantern, runs, GRADE), "differ in source or place")

    def test_no_signal_in_common(self, lantern: Counter, make: Make) -> None:
        runs = scene(lantern, make, 0.5, 0.5)[:1]
        runs.append(
            make(lantern, 0, 600.0, pulses=False, display=0.1, conditions={"light": "lamp"})
        )
        self.refused(TRIAL.analyse(lantern, runs, GRADE), "share no signal")

    @staticmethod
    def refused(outcome: Outcome, missing: str) -> None:
        assert outcome.verdict == "cannot tell yet"
        assert not outcome.judgements
        assert any(missing in w for w in outcome.warnings), outcome.warnings


def test_the_plan_warns_of_ultraviolet(lantern: Counter) -> None:
    plan = TRIAL.plan(Ask(lantern))
    assert len(plan.runs) == 1 + len(LIT)
    assert any("eyes" in c for c in plan.cautions)
