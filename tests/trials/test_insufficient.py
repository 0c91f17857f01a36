"""Trials without evidence say what is missing; beta shutter and response time on known data."""

import numpy as np
import pytest

from counterproof.records.run import Absorber
from counterproof.signals.trains import ReadingLog
from counterproof.trials.beta_shutter import TRIAL as SHUTTER
from counterproof.trials.criteria import profile
from counterproof.trials.registry import TRIALS
from counterproof.trials.response_time import follow
from counterproof.trials.shape import Counter, Trial
from counterproof.trials.wall import beta_range_mg_cm2
from tests.trials.conftest import Make

GRADE = profile("grade_b")


@pytest.mark.parametrize("trial", TRIALS, ids=lambda t: t.name)
def test_nothing_recorded_gives_no_verdict(trial: Trial, lantern: Counter) -> None:
    outcome = trial.analyse(lantern, [], GRADE)
    assert outcome.verdict == "cannot tell yet"
    assert outcome.warnings


@pytest.mark.parametrize("end,reach", [(0.546, 185.0), (2.28, 1095.3), (1.162, 497.1)])
def test_ranges_after_katz_and_penfold(end: float, reach: float) -> None:
    # Katz and Penfold, Rev. Mod. Phys. 24 (1952) 28: 412 E^(1.265 - 0.0954 ln E)
    assert beta_range_mg_cm2(end) == pytest.approx(reach, rel=1e-3)


def test_a_shutter_without_background_or_open_run(lantern: Counter, make: Make) -> None:
    plate = (Absorber(material="Al", areal_density_mg_cm2=1200.0),)
    sr = {"sources": ("strontium",), "nuclides": ("Sr-90",), "distance_mm": 20.0}
    open_run = make(lantern, 20.0, 300.0, **sr)
    closed = make(lantern, 0.6, 300.0, absorbers=plate, **sr)
    background = make(lantern, 0.5, 3600.0)
    outcome = SHUTTER.analyse(lantern, [open_run, closed], GRADE)
    assert outcome.verdict == "cannot tell yet"
    assert any("no background" in w for w in outcome.warnings)
    outcome = SHUTTER.analyse(lantern, [closed, background], GRADE)
    assert any("with and without" in w for w in outcome.warnings)
    outcome = SHUTTER.analyse(lantern, [open_run, closed, background], GRADE)
    assert outcome.judgements[0].measured.value == pytest.approx(0.995, abs=0.01)
    assert any("needed for the wall" in w for w in outcome.warnings)


def test_a_ramp_is_followed_and_a_short_log_refused() -> None:
    rng = np.random.default_rng(5)
    t = np.arange(0.0, 300.0, 2.0)
    y = 0.1 + 4.0 * np.clip((t - 100.0) / 20.0, 0.0, 1.0) + rng.normal(0.0, 0.05, t.size)
    found = follow(ReadingLog(t, y, "dose_rate", "µSv/h"), 100.0)
    assert not isinstance(found, str)
    assert found.t90.low < 18.0 < found.t90.high
    assert found.overshoot == 0.0
    assert follow(ReadingLog(t[50:], y[50:], "dose_rate", "µSv/h"), 100.0) == "no_before"
    assert follow(ReadingLog(t[:52], y[:52], "dose_rate", "µSv/h"), 100.0) == "no_after"
