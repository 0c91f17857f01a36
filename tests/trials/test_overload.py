"""The overload trial: displays that saturate, fold back or follow, from dead-time models."""

from dataclasses import replace

import numpy as np
import pytest

from counterproof.records import Outcome
from counterproof.signals.trains import ReadingLog
from counterproof.trials.criteria import profile
from counterproof.trials.overload import TRIAL
from counterproof.trials.shape import Ask, Counter, Evidence
from tests.trials.conftest import Make

GRADE = profile("grade_b")
TAU = 100e-6
FACTOR = 120.0  # cpm per µSv/h


def non_paralysable(n: float) -> float:
    return n / (1.0 + n * TAU)


def paralysable(n: float) -> float:
    return n * float(np.exp(-n * TAU))


def test_the_models_are_the_textbooks() -> None:
    # true 1000, 5000 and 10000 /s at τ = 100 µs: values of the textbook formulas, computed apart
    assert [non_paralysable(n) for n in (1e3, 5e3, 1e4)] == pytest.approx(
        [909.0909, 3333.333, 5000.0], rel=1e-6
    )
    assert [paralysable(n) for n in (1e3, 5e3, 1e4)] == pytest.approx(
        [904.8374, 3032.653, 3678.794], rel=1e-6
    )


def injected(
    make: Make, lantern: Counter, shown: dict[float, float], seconds: float = 60.0
) -> list[Evidence]:
    """Displays at injected rates, with their counting scatter."""
    rng = np.random.default_rng(31)
    runs = []
    for rate, per_s in shown.items():
        run = make(lantern, 0, seconds, pulses=False, conditions={"injected_per_s": rate})
        t = np.arange(1.0, seconds, 1.0)
        usv_h = 60.0 * per_s / FACTOR
        values = usv_h * (1.0 + 0.01 * rng.standard_normal(t.size))
        log = ReadingLog(t, values, "dose_rate", "µSv/h", "momentary", 0.01)
        runs.append(replace(run, readings=(log,)))
    return runs


RATES = (100.0, 1e3, 5e3, 2e4, 1e5)


def test_a_paralysable_counter_folds_back(make: Make, lantern: Counter) -> None:
    runs = injected(make, lantern, {n: paralysable(n) for n in RATES})
    outcome = TRIAL.analyse(lantern, runs, GRADE)
    assert "folds back" in outcome.statement
    # it shows most at 5000 /s (3033 /s, 1516 µSv/h) and almost nothing at 100000 /s
    assert "at 5000 pulses" in outcome.statement
    assert "at 100000" in outcome.statement or "at 1e+05" in outcome.statement
    assert outcome.verdict == "not met"
    assert any("dangerous" in w for w in outcome.warnings)
    shares = [r.values["share of proportionality"] for r in outcome.table]
    expected = [paralysable(n) / n / (paralysable(100.0) / 100.0) for n in RATES]
    assert shares == pytest.approx(expected, rel=0.02, abs=1e-3)


def test_a_non_paralysable_counter_saturates(make: Make, lantern: Counter) -> None:
    runs = injected(make, lantern, {n: non_paralysable(n) for n in RATES})
    outcome = TRIAL.analyse(lantern, runs, GRADE)
    assert "saturates" in outcome.statement
    assert outcome.verdict == "met"
    # least shown at 100000 /s over the most at lower rates: 9091/6667 less three per cent scatter
    assert outcome.judgements[0].measured.value == pytest.approx(9091 / 6667, rel=0.05)


def test_a_display_that_still_follows_was_not_overloaded(make: Make, lantern: Counter) -> None:
    runs = injected(make, lantern, {n: n for n in RATES})
    outcome = TRIAL.analyse(lantern, runs, GRADE)
    assert "still follows" in outcome.statement
    assert outcome.verdict == "cannot tell yet"
    assert any("does not exceed the range" in w for w in outcome.warnings)


def test_a_stated_range_must_be_exceeded(make: Make, lantern: Counter) -> None:
    stated = replace(lantern, claims={"range_top_usv_h": 1000.0})
    within = injected(make, stated, {n: n for n in (10.0, 100.0, 1000.0)})  # 500 µSv/h at most
    outcome = TRIAL.analyse(stated, within, GRADE)
    assert outcome.verdict == "cannot tell yet"
    assert not outcome.judgements
    beyond = injected(make, stated, {100.0: 100.0, 1000.0: 1000.0, 1e5: 2000.0})  # stays at 1000
    assert TRIAL.analyse(stated, beyond, GRADE).judgements[0].measured.value == pytest.approx(
        1.0, abs=0.05
    )


def test_one_fall_in_half_a_minute_decides(make: Make, lantern: Counter) -> None:
    runs = injected(make, lantern, {n: non_paralysable(n) for n in RATES})
    (log,) = runs[-1].readings
    values = log.values.copy()
    values[20] = 3.0
    runs[-1] = replace(runs[-1], readings=(replace(log, values=values),))
    outcome = TRIAL.analyse(lantern, runs, GRADE)
    assert outcome.verdict == "not met"
    assert outcome.table[-1].values["least shown"] == pytest.approx(3.0)


class TestInsufficient:
    """Too little gives the sentence that says what is missing."""

    @staticmethod
    def refused(outcome: Outcome, words: str) -> None:
        assert outcome.verdict == "cannot tell yet"
        assert not outcome.judgements
        assert any(words in w for w in outcome.warnings), outcome.warnings

    def test_one_rate(self, make: Make, lantern: Counter) -> None:
        self.refused(TRIAL.analyse(lantern, injected(make, lantern, {1e3: 1e3}), GRADE), "at 1 inj")

    def test_too_short(self, make: Make, lantern: Counter) -> None:
        runs = injected(make, lantern, {n: non_paralysable(n) for n in RATES}, 20.0)
        self.refused(TRIAL.analyse(lantern, runs, GRADE), "30 s are asked")

    def test_highest_rates_too_close(self, make: Make, lantern: Counter) -> None:
        shown = {100.0: 100.0, 1e4: 5000.0, 1.5e4: 6000.0}
        self.refused(
            TRIAL.analyse(lantern, injected(make, lantern, shown), GRADE), "less than twice"
        )

    def test_a_source_is_set_aside(self, make: Make, lantern: Counter) -> None:
        runs = [
            make(
                lantern, 50.0, 60.0, sources=("caesium",), conditions={"injected_per_s": r}
            )
            for r in (100.0, 1000.0)
        ]  # fmt: skip
        self.refused(TRIAL.analyse(lantern, runs, GRADE), "set aside")

    def test_counts_alone(self, make: Make, lantern: Counter) -> None:
        runs = [
            make(lantern, non_paralysable(r), 40.0, conditions={"injected_per_s": r})
            for r in (100.0, 1e3, 1e4)
        ]
        self.refused(TRIAL.analyse(lantern, runs, GRADE), "needs its readings")


def test_the_plan_never_asks_for_a_source(lantern: Counter) -> None:
    plan = TRIAL.plan(Ask(lantern, (), ("caesium",)))
    assert not any(r.sources for r in plan.runs)
    assert any("never tried with a stronger source" in c for c in plan.cautions)
    assert any("high voltage" in c for c in plan.cautions)
