"""The readout trial: firmware from runs with clicks and display, and weaker answers without."""

from datetime import UTC, datetime

import numpy as np
import pytest

from counterproof.forensics.readout_trial import TRIAL
from counterproof.readout import Boxcar, ReadoutModel, run_readout
from counterproof.records import Measured, Run
from counterproof.signals.trains import PulseTrain, ReadingLog
from counterproof.trials.criteria import profile
from counterproof.trials.shape import Ask, Counter, Evidence

GRADE = profile("grade_a")
MODEL = ReadoutModel(
    estimator=Boxcar(30.0),
    factors_cpm_per_usv_h=(120.0, 200.0),
    switches_cpm=(96.0,),
    quantum_usv_h=0.01,
    refresh_s=2.0,
)


def evidence(counter: Counter, levels: tuple[float, ...], seconds: float = 600.0) -> list[Evidence]:
    found = []
    for i, rate in enumerate(levels):
        rng = np.random.default_rng([5, i])
        times = np.sort(rng.uniform(0.0, seconds, rng.poisson(rate * seconds)))
        shown = run_readout(MODEL, times, seconds)
        log = ReadingLog(shown.times_s, shown.momentary, "dose_rate", "µSv/h")
        run = Run(
            id=f"level-{i}",
            instrument=counter.name,
            started_utc=datetime(2026, 3, 14, tzinfo=UTC),
            duration_s=seconds,
        )
        found.append(Evidence(run, counter, PulseTrain(times, seconds), None, (log,)))
    return found


def test_the_firmware_is_found_and_the_stated_factors_are_judged() -> None:
    lantern = Counter("Lantern", (120.0, 240.0))
    outcome = TRIAL.analyse(lantern, evidence(lantern, (0.3, 1.0, 1.6, 3.0, 8.0)), GRADE)
    values = outcome.table[0].values
    window = values["time constant"]
    assert isinstance(window, Measured)
    assert window.value == pytest.approx(30.0, rel=0.1)
    # grade A allows 10 %: the lower factor is as stated, the upper one is 200 and not 240
    assert [j.verdict for j in outcome.judgements] == ["met", "not met"]
    assert outcome.verdict == "not met"
    assert len(outcome.runs) == 5
    assert outcome.charts[0].marks


def test_one_level_does_not_claim_a_second_factor() -> None:
    plain = Counter("Lantern")
    outcome = TRIAL.analyse(plain, evidence(plain, (0.3,)), GRADE)
    assert "two factors" not in str(outcome.table[0].values["model"])
    assert outcome.warnings


def test_without_pairs_it_says_what_is_missing() -> None:
    plain = Counter("Lantern")
    mute = [
        Evidence(e.run, plain, None, None, e.readings) for e in evidence(plain, (0.3, 3.0), 60.0)
    ]
    outcome = TRIAL.analyse(plain, mute, GRADE)
    assert outcome.verdict == "cannot tell yet"
    assert "both clicks" in outcome.statement
    assert outcome.runs == ()


def test_the_plan_is_an_hour_over_five_levels() -> None:
    plan = TRIAL.plan(Ask(Counter("Lantern"), sources=("caesium disc",)))
    assert plan.total_minutes == pytest.approx(60.0)
    assert len(plan.runs) == 5
