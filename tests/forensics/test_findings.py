"""What the recordings say about a counter: found where it is, and not where it is not."""

from __future__ import annotations

from dataclasses import replace
from functools import cache

import numpy as np
import pytest

from acceptance.findings import BRASS_MG_CM2, evidence_of, false_claims
from counterproof.forensics import PairedRun, ReadoutFit, fit_readout
from counterproof.forensics.consistency import average_check, dose_check, scatter_check
from counterproof.forensics.findings import findings_of
from counterproof.forensics.interference import disturbances
from counterproof.forensics.ladder import fit_ladder
from counterproof.forensics.strength import bound_from_p, from_interval, in_words
from counterproof.forensics.twins import tube_likeness, twins
from counterproof.quantities import Estimate
from counterproof.readout import Boxcar, ReadoutModel, run_readout
from counterproof.signals.trains import PulseTrain
from counterproof.simulate.hollow_lane import RUNS
from counterproof.trials.shape import Counter, Evidence


@cache
def hollow_lane() -> tuple[Evidence, ...]:
    return tuple(evidence_of(r) for r in RUNS if r.kept == "sound")


@cache
def lantern() -> ReadoutFit:
    return fit_readout(
        [
            PairedRun(
                e.pulses.times_s, e.run.duration_s, e.readings[0].times_s, e.readings[0].values
            )
            for e in hollow_lane()
            if e.counter.name == "Lantern" and e.pulses is not None
        ],
        sweeps=400,
    )


def test_the_hidden_firmware_of_the_demonstration_is_found():
    # truth of the invented counter: 110 and 190 cpm/(µSv/h), switch 0.6 µSv/h, window 40 s
    fit = lantern()
    assert [f.value for f in fit.factors] == pytest.approx([110.0, 190.0], rel=0.01)
    assert fit.switch is not None
    assert fit.switch.value == pytest.approx(0.6, rel=0.05)
    assert fit.time_constant is not None
    assert fit.time_constant.value == pytest.approx(40.0, rel=0.01)
    assert fit.hysteresis is not None
    assert fit.hysteresis.low <= 0.1 <= fit.hysteresis.high


def test_findings_of_the_demonstration():
    found = findings_of(Counter("Lantern"), hollow_lane(), lantern(), ["caesium-lantern"])
    by_subject = {f.subject: f for f in found}
    assert "two factors" in by_subject["factors"].statement
    assert by_subject["factors"].strength == "decisive"
    assert by_subject["factors"].rivals
    assert by_subject["factors"].next_measurement is not None
    assert "40." in by_subject["estimator"].statement
    assert "No interference" in by_subject["interference"].statement
    # the sleeve: strontium's betas reach Wren's and Heron's gas and not Lantern's
    for reference in ("Wren", "Heron"):
        sleeve = by_subject[f"response to strontium beside {reference}"]
        assert "do not reach the gas" in sleeve.statement
        assert sleeve.measured is not None
        assert sleeve.measured.high is not None
        assert sleeve.measured.high < 0.3
    cover = by_subject["cover of the gas"]
    assert cover.measured is not None
    assert cover.measured.low is not None
    assert 300.0 < cover.measured.low < BRASS_MG_CM2
    # nothing that is not there, and every finding whole
    assert false_claims(found) == []
    assert len({f.id for f in found}) == len(found)
    for each in found:
        assert each.runs
        assert each.rivals, each.subject
        assert each.refuted_by
        assert each.next_measurement is not None, each.subject
        assert each.next_measurement.minutes > 0


def test_an_undisturbed_counter_has_no_disturbance_in_a_hundred_runs():
    alarms = 0
    for seed in range(100):
        rng = np.random.default_rng(seed)
        times = np.sort(rng.uniform(0, 300, rng.poisson(900)))
        alarms += any(d.found for d in disturbances(PulseTrain(times, 300.0)))
    assert alarms <= 2


@pytest.mark.parametrize("kind", ["double pulses", "mains pickup", "unsteady", "too regular"])
def test_each_disturbance_is_found(kind):
    rng = np.random.default_rng(5)
    times = np.sort(rng.uniform(0, 600, 1800))
    if kind == "double pulses":
        times = np.sort(np.concatenate((times, times[::12] + 0.002)))
    elif kind == "mains pickup":
        extra = rng.integers(0, 30_000, 500) / 50.0 + rng.normal(0, 0.001, 500)
        times = np.sort(np.concatenate((times, np.clip(extra, 0, 600))))
    elif kind == "unsteady":
        times = np.sort(np.concatenate((times, rng.uniform(200, 400, 600))))
    else:
        times = np.sort(rng.uniform(0, 600, 9000))[::5]
    found = [d.kind for d in disturbances(PulseTrain(times[times < 600], 600.0)) if d.found]
    assert kind in found


def test_registers_that_agree_and_registers_that_do_not():
    rng = np.random.default_rng(6)
    pulses = np.sort(rng.uniform(0, 1800, 7000))
    model = ReadoutModel(
        estimator=Boxcar(20.0),
        factors_cpm_per_usv_h=(100.0, 160.0),
        switches_cpm=(150.0,),
        quantum_usv_h=0.001,
        dose_quantum_usv=0.001,
    )
    for average_from, agrees in (("rate", True), ("counts", False)):
        r = run_readout(replace(model, average_from=average_from), pulses, 1800.0)
        t, m = r.times_s[30:], r.momentary[30:]
        known = {"window_s": 20.0, "factor_cpm_per_usv_h": 160.0, "quantum": 0.001}
        average = average_check(t, m, r.average[30], r.average[-1], float(t[0]), **known)
        dose = dose_check(
            t, m, r.accumulated[30], r.accumulated[-1], dose_quantum_usv=0.001, **known
        )
        assert average.agrees is agrees
        assert dose.agrees is agrees
        if not agrees:
            assert average.ratio.value == pytest.approx(1.6, rel=0.02)
            assert dose.ratio.value == pytest.approx(1.6, rel=0.02)


def test_scatter_of_a_counted_and_of_a_smoothed_display():
    rng = np.random.default_rng(7)
    pulses = np.sort(rng.uniform(0, 3600, 9000))
    shown = run_readout(ReadoutModel(estimator=Boxcar(20.0), quantum_usv_h=0), pulses, 3600.0)
    t, m = shown.times_s[30:], shown.momentary[30:]
    assert scatter_check(t, m, 120.0, 20.0).agrees
    smooth = np.convolve(m, np.ones(60) / 60, "same")
    check = scatter_check(t[60:-60], smooth[60:-60], 120.0, 20.0)
    assert check.ratio.high < 1.0


def estimate(value: float, relative: float) -> Estimate:
    u = value * relative
    return Estimate(value, u, value - 2 * u, value + 2 * u, unit="µSv/h")


def test_a_ladder_of_readings_alone_shows_a_change_of_factor():
    # an invented box: 110 below 0.6 µSv/h, 190 above; predictions carry an unknown common scale
    true = np.array([0.1, 0.25, 0.5, 0.8, 1.6, 4.0])
    seen = np.where(true * 1.04 < 0.6, true * 1.04, true * 1.04 * 110 / 190)
    fit = fit_ladder([estimate(v, 0.03) for v in seen], [estimate(3 * v, 0.03) for v in true])
    assert fit is not None
    assert fit.step is not None
    assert fit.step.value == pytest.approx(110 / 190, rel=0.05)
    assert fit.switch_usv_h is not None
    assert fit.switch_usv_h[0] <= 0.6 <= fit.switch_usv_h[1] * 1.05
    flat = fit_ladder([estimate(v, 0.03) for v in true], [estimate(3 * v, 0.03) for v in true])
    assert flat is not None
    assert flat.step is None
    assert fit_ladder([estimate(1.0, 0.1)], [estimate(1.0, 0.1)]) is None


def test_twins_and_strangers():
    fit = lantern()
    quotients = [estimate(v, 0.03) for v in (1.0, 1.02, 0.99)]
    same = twins(("Lantern", "Lamp"), (fit, fit), quotients)
    assert "share one readout" in same.statement
    assert "respond alike" in same.statement
    assert same.log10_bayes_factor is not None
    assert same.log10_bayes_factor > 1
    other = replace(fit, factors=(fit.factors[0].scaled(1.4), fit.factors[1]))
    stranger = twins(("Lantern", "Lamp"), (fit, other), [estimate(v, 0.03) for v in (1.0, 0.4)])
    assert "do not share" in stranger.statement
    assert "differently" in stranger.statement
    unknown = twins(("Lantern", "Lamp"), (fit, None))
    assert any("Lamp" in m for m in unknown.missing)


def test_tube_quotients():
    assert tube_likeness([estimate(1.0, 0.03)]) is None
    alike = tube_likeness([estimate(1.0, 0.03), estimate(1.05, 0.03)])
    assert alike is not None
    assert alike.same


def test_strength_in_words():
    assert in_words(3.0) == "decisive"
    assert in_words(0.2) == "hardly more than a hint"
    # −e p ln p at p = 0.05 and 0.01: 0.4072 and 0.1252 (the cited paper's table, from memory)
    assert 10 ** -bound_from_p(0.05) == pytest.approx(0.4072, abs=1e-4)
    assert 10 ** -bound_from_p(0.01) == pytest.approx(0.1252, abs=1e-4)
    assert bound_from_p(0.9) == 0.0
    assert from_interval(0.0, 10.0) < 0 < from_interval(5.0, 10.0)
