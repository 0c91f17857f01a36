"""The background trial."""

import numpy as np
import pytest

from counterproof.records import Measured
from counterproof.signals.trains import CountLog
from counterproof.trials.background import TRIAL
from counterproof.trials.criteria import profile
from counterproof.trials.shape import Ask, Counter, Evidence
from tests.trials.conftest import Make

GRADE = profile("grade_b")


def test_a_counter_that_agrees_meets_the_grade(lantern: Counter, wren: Counter, make: Make) -> None:
    # 0.12 µSv/h: Lantern at 120 cpm per µSv/h counts 0.24 /s, Wren at 2.5 /s per µSv/h 0.30 /s
    evidence = [make(lantern, 0.24, 7200.0, display=0.12), make(wren, 0.30, 7200.0)]
    outcome = TRIAL.analyse(lantern, evidence, GRADE)
    assert outcome.verdict == "met", outcome.statement
    assert outcome.trial == "background"
    ratio = outcome.judgements[0].measured
    assert ratio.low is not None
    assert ratio.high is not None
    assert ratio.low < 1.0 < ratio.high
    assert {c.form for c in outcome.charts} == {"intervals", "strip", "histogram"}


@pytest.mark.parametrize("field", ["momentary", "average", "accumulated"])
def test_over_reading_is_seen_from_readings_alone(
    field: str, lantern: Counter, wren: Counter, make: Make
) -> None:
    own = make(lantern, 0.24, 14400.0, display=0.18, field=field, pulses=False)
    outcome = TRIAL.analyse(lantern, [own, make(wren, 0.30, 14400.0)], GRADE)
    assert outcome.verdict == "not met", (field, outcome.statement)
    assert outcome.judgements[0].measured.value == pytest.approx(1.5, abs=0.1)


def test_a_short_run_cannot_tell_yet(lantern: Counter, wren: Counter, make: Make) -> None:
    evidence = [make(lantern, 0.24, 300.0, display=0.115), make(wren, 0.30, 300.0)]
    outcome = TRIAL.analyse(lantern, evidence, GRADE)
    assert outcome.verdict == "cannot tell yet"
    assert outcome.judgements[0].more_minutes is not None


def test_clicks_and_a_stated_factor_stand_in_for_a_display(
    lantern: Counter, wren: Counter, make: Make
) -> None:
    evidence = [make(lantern, 0.24, 7200.0), make(wren, 0.30, 7200.0)]
    outcome = TRIAL.analyse(lantern, evidence, GRADE)
    assert outcome.judgements[0].measured.value == pytest.approx(1.0, abs=0.12)


def test_what_is_missing_is_said(lantern: Counter, wren: Counter, make: Make) -> None:
    alone = TRIAL.analyse(lantern, [make(lantern, 0.24, 600.0, display=0.12)], GRADE)
    assert alone.verdict == "no criterion"
    assert any("No reference" in w for w in alone.warnings)
    nothing = TRIAL.analyse(lantern, [make(wren, 0.3, 600.0)], GRADE)
    assert nothing.verdict == "cannot tell yet"
    assert any("no run of Lantern" in w for w in nothing.warnings)
    two_factors = Counter("Lantern", (110.0, 190.0))
    mute = TRIAL.analyse(two_factors, [make(two_factors, 0.24, 600.0)], GRADE)
    assert any("says what it claims" in w for w in mute.warnings)


def test_smoothed_counts_are_called_too_regular(lantern: Counter, make: Make) -> None:
    regular = make(lantern, 0.0, 1000.0)
    counts = np.tile([10, 11, 10, 9], 50).astype(np.int64)
    log = CountLog(np.arange(200.0) * 5, np.full(200, 5.0), counts)
    evidence = Evidence(regular.run, lantern, None, log)
    outcome = TRIAL.analyse(lantern, [evidence], GRADE)
    assert any("too regular" in w for w in outcome.warnings)


def test_runs_with_sources_are_left_aside(lantern: Counter, wren: Counter, make: Make) -> None:
    evidence = [
        make(lantern, 0.24, 3600.0, display=0.12),
        make(wren, 0.30, 3600.0),
        make(lantern, 50.0, 600.0, display=20.0, sources=("caesium disc",)),
    ]
    with_source = TRIAL.analyse(lantern, evidence, GRADE)
    without = TRIAL.analyse(lantern, evidence[:2], GRADE)
    assert with_source.judgements == without.judgements


def test_detection_limit_stands_above_the_threshold(lantern: Counter, make: Make) -> None:
    outcome = TRIAL.analyse(lantern, [make(lantern, 0.5, 3600.0)], GRADE)
    row = next(r for r in outcome.table if "detection limit" in r.values)
    threshold, limit = row.values["decision threshold"], row.values["detection limit"]
    assert isinstance(threshold, float)
    assert isinstance(limit, float)
    assert 0 < threshold < limit
    rate = next(r for r in outcome.table if "count rate" in r.values).values["count rate"]
    assert isinstance(rate, Measured)
    assert rate.value == pytest.approx(0.5, rel=0.1)


def test_the_plan_reaches_the_wanted_uncertainty(lantern: Counter, wren: Counter) -> None:
    ask = Ask(lantern, (wren,), relative_u=0.05, background_per_s=0.25)
    plan = TRIAL.plan(ask)
    assert [r.instrument for r in plan.runs] == ["Lantern", "Wren"]
    # 1/√N = 5 % needs 400 counts (Poisson), at 0.25 /s 1600 s
    assert plan.runs[0].minutes == pytest.approx(1600 / 60)
