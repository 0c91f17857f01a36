"""A firmware run forward and recovered backward, and weak answers where the runs do not suffice."""

from __future__ import annotations

from dataclasses import replace
from functools import cache

import numpy as np
import pytest

from counterproof.errors import Cancelled, UserError
from counterproof.forensics import PairedRun, ReadoutFit, fit_readout
from counterproof.readout import Boxcar, Exponential, FixedCount, ReadoutModel, run_readout
from tests.forensics.runs import TWO, between

LEVELS_CPM = (40.0, 120.0, 180.0, 260.0, 700.0)


def half_an_hour(
    model: ReadoutModel, seed: int, levels: tuple[float, ...] = LEVELS_CPM, lost: float = 0.0
) -> PairedRun:
    rng = np.random.default_rng(seed)
    part = 1800.0 / len(levels)
    pulses = np.concatenate(
        [
            np.sort(rng.uniform(i * part, (i + 1) * part, rng.poisson(cpm / 60 * part)))
            for i, cpm in enumerate(levels)
        ]
    )
    shown = run_readout(model, pulses, 1800.0)
    clicks = pulses[rng.random(pulses.size) >= lost]
    return PairedRun(clicks, 1800.0, shown.times_s, np.round(shown.momentary, 9))


@cache
def two_run() -> PairedRun:
    return half_an_hour(TWO, 11)


@cache
def two_fit() -> ReadoutFit:
    return fit_readout([two_run()])


def test_two_factor_meter_is_recovered():
    fit = two_fit()
    assert fit.model == "boxcar, two factors"
    assert [f.value for f in fit.factors] == pytest.approx([140.0, 240.0], rel=0.005)
    assert fit.switch is not None
    assert fit.switch.value == pytest.approx(180 / 140, rel=0.03)
    assert fit.switch.low <= 180 / 140 <= fit.switch.high
    assert fit.time_constant is not None
    assert fit.time_constant.value == pytest.approx(20.0, rel=0.005)
    assert fit.quantum is not None
    assert fit.quantum.value == pytest.approx(0.01)
    assert fit.refresh is not None
    assert fit.refresh.period_s == pytest.approx(2.0)
    assert fit.exact_share > 0.99
    assert any("Two factors" in s for s in fit.statements)


def test_the_same_runs_give_the_same_answer():
    assert fit_readout([two_run()], sweeps=50) == fit_readout([two_run()], sweeps=50)


@pytest.mark.parametrize(
    ("estimator", "kind"),
    [(Exponential(8.0), "exponential"), (Exponential(8.0, step_s=1.0), "exponential")],
)
def test_one_factor_behind_an_exponential(estimator, kind):
    model = ReadoutModel(estimator=estimator, factors_cpm_per_usv_h=(150.0,))
    fit = fit_readout([half_an_hour(model, 12)], sweeps=300)
    assert fit.kind == kind
    assert len(fit.factors) == 1
    assert fit.factors[0].value == pytest.approx(150.0, rel=0.01)
    assert fit.time_constant is not None
    assert fit.time_constant.value == pytest.approx(8.0, rel=0.03)
    assert any("nothing is known outside" in s for s in fit.statements)


def test_a_fixed_count_window():
    model = ReadoutModel(estimator=FixedCount(25), factors_cpm_per_usv_h=(150.0,))
    fit = fit_readout([half_an_hour(model, 13)], sweeps=200)
    assert fit.kind == "fixed count"
    assert fit.window_pulses == 25
    assert fit.factors[0].value == pytest.approx(150.0, rel=0.01)


def test_hysteresis_is_seen_and_not_invented():
    model = replace(TWO, hysteresis=0.1, quantum_usv_h=0.001)
    fit = fit_readout([half_an_hour(model, 14)], sweeps=300)
    assert fit.hysteresis is not None
    assert fit.hysteresis.low <= 0.1 <= fit.hysteresis.high
    assert fit.hysteresis.value == pytest.approx(0.1, abs=0.02)
    assert two_fit().hysteresis is None


def test_own_background_is_seen_and_not_invented():
    model = ReadoutModel(
        estimator=Boxcar(20.0),
        factors_cpm_per_usv_h=(150.0,),
        background_cpm=12.0,
        quantum_usv_h=0.001,
    )
    fit = fit_readout([half_an_hour(model, 15)], sweeps=300)
    assert fit.background is not None
    assert fit.background.value == pytest.approx(12.0, rel=0.05)
    assert len(fit.factors) == 1
    assert two_fit().background is None


def test_a_dead_time_correction_is_not_called_a_second_factor():
    model = ReadoutModel(
        estimator=Boxcar(20.0),
        factors_cpm_per_usv_h=(150.0,),
        dead_time_s=200e-6,
        quantum_usv_h=0.01,
    )
    fit = fit_readout([half_an_hour(model, 16, (100, 300, 1000, 3000, 6000))], sweeps=200)
    assert len(fit.factors) == 1
    assert fit.dead_time is not None
    assert fit.dead_time.value == pytest.approx(200e-6, rel=0.05)


def test_lost_clicks_widen_the_factors_until_they_hold_the_truth():
    fit = fit_readout([half_an_hour(TWO, 17, lost=0.02)], sweeps=300)
    assert 0.008 < fit.loss_share < 0.04
    for estimate, truth in zip(fit.factors, (140.0, 240.0), strict=True):
        assert estimate.low <= truth <= estimate.high
        assert estimate.value == pytest.approx(truth, rel=0.03)


def test_clicks_once_per_four_pulses():
    run = two_run()
    divided = replace(run, pulse_times_s=run.pulse_times_s[3::4])
    fit = fit_readout([divided], pulses_per_click=4, sweeps=200)
    assert [f.value for f in fit.factors] == pytest.approx([140.0, 240.0], rel=0.03)


def test_a_display_read_more_often_than_it_changes():
    run = two_run()
    at = np.arange(3.0, 1799.0, 0.5)
    held = run.readings_usv_h[np.searchsorted(run.reading_times_s, at, side="right") - 1]
    fit = fit_readout([replace(run, reading_times_s=at, readings_usv_h=held)], sweeps=200)
    assert fit.refresh is not None
    assert fit.refresh.period_s == pytest.approx(2.0, rel=0.001)
    assert [f.value for f in fit.factors] == pytest.approx([140.0, 240.0], rel=0.01)


def test_levels_recorded_one_by_one():
    runs = [between(two_run(), 360.0 * i, 360.0 * (i + 1)) for i in range(5)]
    fit = fit_readout(runs, sweeps=300)
    assert [f.value for f in fit.factors] == pytest.approx([140.0, 240.0], rel=0.01)
    assert len(fit.clock_offsets) == 1


def test_levels_recorded_one_by_one_with_clocks_set_anew():
    late = (0.0, 3.0, -8.0, 20.0, -1.5)
    runs = [between(two_run(), 360.0 * i, 360.0 * (i + 1)) for i in range(5)]
    runs = [
        replace(r, reading_times_s=r.reading_times_s + s) for r, s in zip(runs, late, strict=True)
    ]
    fit = fit_readout(runs, own_clocks=True, sweeps=300)
    assert [o.value for o in fit.clock_offsets] == pytest.approx([-s for s in late], abs=0.5)
    assert [f.value for f in fit.factors] == pytest.approx([140.0, 240.0], rel=0.02)


def test_a_switch_between_distant_levels_is_given_wide():
    fit = fit_readout([half_an_hour(replace(TWO, estimator=Boxcar(60.0)), 18, (60.0, 900.0))])
    assert fit.switch is not None
    assert fit.switch.low <= 180 / 140 <= fit.switch.high
    if fit.switch.high > 1.1 * fit.switch.low:
        assert any("No readings lie near the switch" in s for s in fit.missing)


def test_bad_arrays_are_refused_in_a_sentence():
    good = np.arange(5.0)
    with pytest.raises(UserError, match="as many reading times"):
        PairedRun(good, 5.0, good, good[:3])
    with pytest.raises(UserError, match="backward"):
        PairedRun(good[::-1], 5.0, good, good)
    with pytest.raises(UserError, match="finite"):
        PairedRun(good, 5.0, good, good * np.nan)
    with pytest.raises(UserError, match="No readings"):
        fit_readout([])


def test_an_inference_can_be_stopped():
    with pytest.raises(Cancelled):
        fit_readout([two_run()], report=lambda done, total: done < 2)
