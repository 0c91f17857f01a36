"""The response-time trial: shapes, their uncertainty, and simulated displays."""

import numpy as np
import pytest
from numpy.typing import NDArray

from counterproof.signals.trains import ReadingLog
from counterproof.trials.criteria import profile
from counterproof.trials.response_time import HAND_U_S, TRIAL, StepFit, follow
from counterproof.trials.shape import Ask, Counter
from counterproof.trials.step_fit import covariance, progress
from tests.trials.conftest import Make, stepped

Floats = NDArray[np.float64]
GRADE = profile("grade_b")
STEP = 150.0


def display(rng: np.random.Generator, shape: str, before: float, after: float) -> ReadingLog:
    """A display of 0.01 µSv/h every 2 s; boxcar of 20 s or 10 s exponential, 120 cpm per µSv/h."""
    pulses = np.concatenate(
        [
            rng.uniform(-150.0, STEP, rng.poisson(before * (STEP + 150.0))),
            rng.uniform(STEP, 400.0, rng.poisson(after * 250.0)),
        ]
    )
    t = np.arange(0.0, 400.0, 2.0)
    past = t[:, None] - pulses[None, :]
    if shape == "ramp":
        rate = ((past >= 0.0) & (past < 20.0)).sum(axis=1) / 20.0
    else:
        rate = np.where(past >= 0.0, np.exp(-np.maximum(past, 0.0) / 10.0), 0.0).sum(axis=1) / 10.0
    return ReadingLog(t, np.round(rate / 2.0, 2), "dose_rate", "µSv/h", "momentary", 0.01)


# 90 % of a straight ramp of 20 s after 18 s; of an exponential after τ ln 10 (both by definition;
# the second is the handbooks' 2.3026 τ, from memory)
@pytest.mark.parametrize("shape,truth", [("ramp", 18.0), ("exponential", 23.026)])
@pytest.mark.parametrize("before,after", [(0.2, 8.0), (2.0, 50.0), (50.0, 2.0)])
def test_the_time_to_90_percent_is_covered(
    shape: str, truth: float, before: float, after: float
) -> None:
    rng = np.random.default_rng(11)
    fits = []
    for _ in range(10):
        found = follow(display(rng, shape, before, after), STEP + rng.normal(0.0, HAND_U_S))
        assert isinstance(found, StepFit)
        fits.append(found)
    inside = sum(f.t90.low <= truth <= f.t90.high for f in fits)
    # 10 intervals of 95 %: fewer than 8 inside has a chance of 1.2 % (acceptance runs hold more)
    assert inside >= 8
    assert all(f.rising == (after > before) for f in fits)
    assert np.median([f.t90.value for f in fits]) == pytest.approx(truth, rel=0.12)
    assert sum(f.overshoot > 0.0 for f in fits) <= 1


def test_the_shape_is_told_where_the_counts_tell_it() -> None:
    rng = np.random.default_rng(12)
    for shape in ("ramp", "exponential"):
        fits = [follow(display(rng, shape, 2.0, 150.0), STEP) for _ in range(3)]
        assert all(isinstance(f, StepFit) and f.told_apart and f.shape == shape for f in fits)


@pytest.mark.parametrize("shape,scale", [("ramp", 20.0), ("exponential", 10.0)])
def test_covariance_of_smoothed_counts(shape: str, scale: float) -> None:
    # long after a step the variance is r/T for a window and r/(2 τ) for a time constant (handbooks'
    # rate meter: relative σ = 1/√(2 r τ), from memory); in between a simulation
    at = np.array([-30.0, -5.0, 4.0, 15.0, 300.0])
    made = covariance(shape, scale, 3.0, 40.0, at)
    ends = [r / (scale if shape == "ramp" else 2.0 * scale) for r in (3.0, 40.0)]
    assert [made[0, 0], made[4, 4]] == pytest.approx(ends, rel=1e-6)
    rng = np.random.default_rng(13)
    seen = np.empty((4000, at.size))
    for row in seen:
        pulses = np.concatenate(
            [rng.uniform(-130.0, 0.0, rng.poisson(390)), rng.uniform(0.0, 30.0, rng.poisson(1200))]
        )
        past = at[:, None] - pulses[None, :]
        if shape == "ramp":
            weight = ((past >= 0.0) & (past < scale)) / scale
        else:
            weight = np.where(past >= 0.0, np.exp(-np.maximum(past, 0.0) / scale), 0.0) / scale
        row[:] = weight.sum(axis=1)
    simulated = np.cov(seen[:, :4].T)
    assert simulated == pytest.approx(made[:4, :4], abs=0.06 * float(made[3, 3]))


def test_progress_at_its_ends() -> None:
    for shape in ("ramp", "exponential"):
        assert list(progress(shape, 5.0, np.array([-1.0, 0.0]))) == [0.0, 0.0]
        assert progress(shape, 5.0, np.array([1e4]))[0] == pytest.approx(1.0)


def test_an_overshoot_is_seen() -> None:
    rng = np.random.default_rng(14)
    t = np.arange(0.0, 300.0, 2.0)
    y = 0.1 + 4.0 * np.clip((t - 100.0) / 10.0, 0.0, 1.0) + rng.normal(0.0, 0.03, t.size)
    y[(t > 112.0) & (t < 125.0)] += 1.2
    found = follow(ReadingLog(t, y, "dose_rate", "µSv/h"), 100.0)
    assert isinstance(found, StepFit)
    assert found.overshoot == pytest.approx(0.3, abs=0.05)


def test_the_maker_is_held_to_his_claim(lantern: Counter, make: Make) -> None:
    up = stepped(make, lantern, 0.1, 4.0, window=20.0)
    down = stepped(make, lantern, 4.0, 0.1, window=20.0)
    outcome = TRIAL.analyse(lantern, [up, up, down], GRADE)
    assert [j.verdict for j in outcome.judgements] == ["met", "met"]
    claimed = Counter("Lantern", claims={"response_s": 5.0})
    outcome = TRIAL.analyse(claimed, [up, up, down], GRADE)
    assert outcome.verdict == "not met"
    assert outcome.judgements[0].criterion is not None
    assert outcome.judgements[0].criterion.source == "the maker's claim"


class TestInsufficient:
    """Too little gives the sentence that says what is missing."""

    @pytest.mark.parametrize(
        "words,part",
        [
            ("too few readings before", slice(50, None)),
            ("too few readings after", slice(0, 53)),
            ("before the display rests", slice(0, 62)),
        ],
    )
    def test_a_part_of_a_step(self, lantern: Counter, make: Make, words: str, part: slice) -> None:
        whole = stepped(make, lantern, 0.1, 4.0, window=20.0)
        outcome = TRIAL.analyse(lantern, [stepped(make, lantern, 0.1, 4.0, 20.0, part)], GRADE)
        assert outcome.verdict == "cannot tell yet"
        assert any(words in w for w in outcome.warnings), outcome.warnings
        assert TRIAL.serves(lantern, [whole])

    def test_no_step_in_the_readings(self, lantern: Counter, make: Make) -> None:
        outcome = TRIAL.analyse(lantern, [stepped(make, lantern, 1.0, 1.0, 20.0)], GRADE)
        assert outcome.verdict == "cannot tell yet"
        assert any("does not stand out" in w for w in outcome.warnings)

    def test_clicks_alone(self, lantern: Counter, make: Make) -> None:
        run = make(lantern, 5.0, 300.0, conditions={"step_s": 100.0})
        outcome = TRIAL.analyse(lantern, [run], GRADE)
        assert any("clicks tell nothing" in w for w in outcome.warnings)

    def test_one_way_only(self, lantern: Counter, make: Make) -> None:
        outcome = TRIAL.analyse(lantern, [stepped(make, lantern, 0.1, 4.0, 20.0)], GRADE)
        assert any("no usable step down" in w for w in outcome.warnings)


def test_the_plan_asks_for_both_ways(lantern: Counter) -> None:
    plan = TRIAL.plan(Ask(lantern))
    assert len(plan.runs) == 4
    assert min(r.minutes for r in plan.runs) >= 6.0 * 40.0 / 60.0  # six windows of Lantern's 40 s
