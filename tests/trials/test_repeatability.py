"""The repeatability trial."""

import numpy as np
import pytest

from counterproof.counting.poisson import rate_estimate
from counterproof.errors import UserError
from counterproof.records.run import Absorber
from counterproof.trials.criteria import profile
from counterproof.trials.registry import TRIALS, trial
from counterproof.trials.repeatability import TRIAL, excess_variation
from counterproof.trials.shape import Ask, Counter
from tests.trials.conftest import Make

GRADE = profile("grade_b")


def test_counting_alone_gives_a_ratio_of_one() -> None:
    rng = np.random.default_rng(7)
    inside = 0
    for _ in range(300):
        runs = [rate_estimate(int(n), 10.0) for n in rng.poisson(200, 12)]
        ratio, _, _ = excess_variation(runs)
        inside += ratio.low <= 1.0 <= ratio.high
    assert 0.93 <= inside / 300 <= 0.97


def test_index_of_a_printed_set() -> None:
    """χ² of a textbook's set (from memory: 8 5 12 … 8 7) is 16.727 with 19 degrees of freedom."""
    counts = [8, 5, 12, 10, 13, 7, 9, 10, 6, 11, 14, 8, 8, 3, 9, 12, 6, 10, 8, 7]
    ratio, _, _ = excess_variation([rate_estimate(n, 1.0) for n in counts])
    assert ratio.value**2 * 19 == pytest.approx(16.727, abs=1e-3)


def test_excess_scatter_is_not_met(lantern: Counter, make: Make) -> None:
    jumpy = [make(lantern, rate, 60.0, seed=3) for rate in [2, 4, 2, 4, 2, 4, 2, 4, 2, 4, 2, 4]]
    assert TRIAL.analyse(lantern, jumpy, GRADE).verdict == "not met"


def test_plain_runs_are_met(lantern: Counter, make: Make) -> None:
    plain = [make(lantern, 5.0, 60.0, seed=5) for _ in range(60)]
    assert TRIAL.analyse(lantern, plain, GRADE).verdict == "met"


def test_one_long_run_is_cut(lantern: Counter, make: Make) -> None:
    outcome = TRIAL.analyse(lantern, [make(lantern, 5.0, 3600.0)], GRADE)
    assert outcome.verdict == "met"
    assert outcome.table[0].values["from"] == "one run, cut into equal stretches"


def test_readings_alone_serve(lantern: Counter, make: Make) -> None:
    rng = np.random.default_rng(11)
    # an average over 10 minutes of 0.24 /s holds 144 counts: 8.3 % of scatter
    shown = 0.12 * (1 + 0.083 * rng.standard_normal(40))
    runs = [
        make(lantern, 0, 600.0, display=round(float(v), 2), field="average", pulses=False)
        for v in shown
    ]
    assert TRIAL.analyse(lantern, runs, GRADE).verdict == "met"


def test_too_few_runs_are_told(lantern: Counter, make: Make) -> None:
    outcome = TRIAL.analyse(lantern, [make(lantern, 5.0, 5.0) for _ in range(3)], GRADE)
    assert outcome.verdict == "cannot tell yet"
    assert "only 3" in outcome.warnings[0]


def test_every_trial_has_the_small_shape(lantern: Counter, wren: Counter) -> None:
    for found in TRIALS:
        assert found.question.endswith("?")
        assert found.needs
        plan = found.plan(Ask(lantern, (wren,), ("caesium disc",)))
        assert plan.trial == found.name
        assert plan.runs
        assert plan.total_minutes > 0
        empty = found.analyse(lantern, [], GRADE)
        assert empty.verdict == "cannot tell yet"
        assert empty.warnings
        assert trial(found.name.replace(" ", "-")) is found


def test_a_mistyped_trial_gets_the_nearest_name() -> None:
    with pytest.raises(UserError, match="background"):
        trial("backgroud")


def test_unlike_runs_are_not_taken_for_repeats(lantern: Counter, make: Make) -> None:
    plates = [(), (Absorber(material="Al", areal_density_mg_cm2=100.0),)]
    runs = [make(lantern, 5.0, 60.0, sources=("rods",), distance_mm=20.0) for _ in range(12)]
    unlike = [
        make(lantern, rate, 60.0, sources=("rods",), distance_mm=20.0, absorbers=a, conditions=c)
        for rate, a, c in ((1.0, plates[1], {}), (9.0, plates[0], {"temperature_c": 40.0}))
    ]
    outcome = TRIAL.analyse(lantern, [*runs, *unlike], GRADE)
    assert outcome.table[0].values["runs"] == len(runs)


def test_altered_runs_are_no_background(lantern: Counter, make: Make) -> None:
    plain = make(lantern, 0.5, 600.0)
    altered = [
        make(lantern, 500.0, 60.0, conditions=c)
        for c in ({"injected_per_s": 500.0}, {"light": "lamp"}, {"voltage_v": 700.0})
    ]
    alone = trial("background").analyse(lantern, [plain], GRADE)
    assert trial("background").analyse(lantern, [plain, *altered], GRADE).table == alone.table
