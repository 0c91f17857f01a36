"""The climate trial: a known drift recovered, and what is missing said."""

import numpy as np
import pytest

from counterproof.counting.poisson import rate_estimate
from counterproof.trials.climate import TRIAL, drift_of
from counterproof.trials.criteria import profile
from counterproof.trials.shape import Ask, Counter, Evidence
from counterproof.trials.shared import normal
from tests.trials.conftest import Make

GRADE = profile("grade_b")
STEPS = (0.0, 15.0, 30.0)


def warmed(
    make: Make,
    lantern: Counter,
    per_kelvin: float,
    seconds: float,
    steps: tuple[float, ...] = STEPS,
) -> list[Evidence]:
    """Runs at temperatures, 10 counts per second at the middle one."""
    middle = float(np.mean(steps))
    return [
        make(
            lantern, 10.0 * (1.0 + per_kelvin / 100.0 * (t - middle)), seconds,
            sources=("rods",), distance_mm=20.0, conditions={"temperature_c": t},
        )
        for t in steps
    ]  # fmt: skip


def test_a_straight_line_by_hand() -> None:
    # 100, 110 and 120 per second at 0, 10 and 20 °C, equal weights: 10 %/10 K of 110 at 10 °C
    found = drift_of([0.0, 10.0, 20.0], [normal(x, 1.0) for x in (100.0, 110.0, 120.0)])
    assert found.per_kelvin.value == pytest.approx(100.0 / 110.0)
    assert found.mean_c == pytest.approx(10.0)
    # u of the slope: 1/√(Σ(x - x̄)²) = 1/√200; of the mean 1/√3; relative to 110
    slope_u, mean_u = 1.0 / np.sqrt(200.0), 1.0 / np.sqrt(3.0)
    expected = 100.0 * np.hypot(slope_u / 110.0, 1.0 / 110.0**2 * mean_u)
    assert found.per_kelvin.u == pytest.approx(expected)


@pytest.mark.parametrize("counts", [100.0, 10000.0])
@pytest.mark.parametrize("truth", [0.0, 0.4])
def test_a_known_drift_is_covered(counts: float, truth: float) -> None:
    rng = np.random.default_rng(21)
    steps, inside = [0.0, 10.0, 20.0, 30.0], 0
    for _ in range(400):
        drawn = [rng.poisson(counts * (1.0 + truth / 100.0 * (t - 15.0))) for t in steps]
        found = drift_of(steps, [rate_estimate(int(n), 10.0) for n in drawn])
        expected = truth / (1.0 + truth / 100.0 * (found.mean_c - 15.0))
        inside += found.per_kelvin.low <= expected <= found.per_kelvin.high
    # widened where the points scatter, so 95 % or a little more; 400 trials: ±2.2 % (2 σ)
    assert 0.925 <= inside / 400 <= 0.99


def test_scatter_beyond_counting_widens_the_interval() -> None:
    steps = [0.0, 10.0, 20.0, 30.0]
    calm = drift_of(steps, [normal(x, 1.0) for x in (100.0, 101.0, 102.0, 103.0)])
    wild = drift_of(steps, [normal(x, 1.0) for x in (100.0, 111.0, 92.0, 103.0)])
    assert wild.misfit_p < 1e-6
    assert wild.per_kelvin.u > 5.0 * calm.per_kelvin.u
    # Student's t with 2 degrees of freedom (tables: 4.303)
    half = wild.per_kelvin.high - wild.per_kelvin.value
    assert half / wild.per_kelvin.u == pytest.approx(4.303, abs=1e-3)


def test_verdicts(make: Make, lantern: Counter) -> None:
    assert TRIAL.analyse(lantern, warmed(make, lantern, 0.1, 3000.0), GRADE).verdict == "met"
    steep = TRIAL.analyse(lantern, warmed(make, lantern, 1.5, 3000.0), GRADE)
    assert steep.verdict == "not met"
    assert "between 0 and 30 °C" in steep.statement
    assert TRIAL.analyse(lantern, warmed(make, lantern, 0.5, 30.0), GRADE).verdict == (
        "cannot tell yet"
    )


@pytest.mark.parametrize(
    "steps,words",
    [((0.0, 30.0), "at 2 temperatures"), ((18.0, 20.0, 22.0), "span only"), ((20.0,), "at 1")],
)
def test_too_few_or_too_close(
    steps: tuple[float, ...], words: str, make: Make, lantern: Counter
) -> None:
    outcome = TRIAL.analyse(lantern, warmed(make, lantern, 1.0, 3000.0, steps), GRADE)
    assert outcome.verdict == "cannot tell yet"
    assert any(words in w for w in outcome.warnings), outcome.warnings


def test_a_counter_that_stops_in_the_cold(make: Make, lantern: Counter) -> None:
    runs = warmed(make, lantern, 0.1, 300.0)[1:]
    cold = make(
        lantern, 0.0, 300.0, count=0, sources=("rods",), distance_mm=20.0,
        conditions={"temperature_c": -10.0},
    )  # fmt: skip
    outcome = TRIAL.analyse(lantern, [cold, *runs], GRADE)
    assert outcome.verdict == "cannot tell yet"
    assert any("nothing was counted" in w for w in outcome.warnings)


def test_another_place_is_left_out(make: Make, lantern: Counter) -> None:
    stray = make(lantern, 50.0, 600.0, conditions={"temperature_c": 40.0})
    runs = warmed(make, lantern, 0.1, 3000.0)
    outcome = TRIAL.analyse(lantern, [*runs, stray], GRADE)
    assert set(outcome.runs) == {e.run.id for e in runs}
    assert any("left out" in w for w in outcome.warnings)


def test_the_plan_rests_between(lantern: Counter) -> None:
    plan = TRIAL.plan(Ask(lantern))
    assert len(plan.runs) == 3
    assert all("rest" in r.reason for r in plan.runs)
