"""Runs that do not suffice: every answer is weaker, says what is missing, and is never wrong.

One meter, one seed, and everything that can be missing from its hour: each case must either leave a
parameter open or give an interval that holds the truth, and say in words what it lacked.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace
from functools import cache

import numpy as np
import pytest

from counterproof.forensics import PairedRun, ReadoutFit, fit_readout
from counterproof.forensics.readoutfindings import readout_findings
from counterproof.readout import Boxcar, ReadoutModel, run_readout
from tests.forensics.runs import between

# an invented meter: 120 and 210 cpm/(µSv/h), switch at 90 cpm (0.75 µSv/h)
LOW, HIGH, SWITCH, WINDOW = 120.0, 210.0, 0.75, 25.0
MODEL = ReadoutModel(
    estimator=Boxcar(WINDOW),
    factors_cpm_per_usv_h=(LOW, HIGH),
    switches_cpm=(90.0,),
    quantum_usv_h=0.01,
    refresh_s=2.0,
)
LEVELS_CPM = (30.0, 60.0, 88.0, 130.0, 300.0)
PART_S = 300.0
HOUR_S = PART_S * len(LEVELS_CPM)


@cache
def whole() -> PairedRun:
    rng = np.random.default_rng(44)
    pulses = np.concatenate(
        [
            np.sort(rng.uniform(i * PART_S, (i + 1) * PART_S, rng.poisson(cpm / 60.0 * PART_S)))
            for i, cpm in enumerate(LEVELS_CPM)
        ]
    )
    got = run_readout(MODEL, pulses, HOUR_S)
    return PairedRun(pulses, HOUR_S, got.times_s, np.round(got.momentary, 9))


def no_clicks(run: PairedRun) -> PairedRun:
    return replace(run, pulse_times_s=np.empty(0))


def no_display(run: PairedRun) -> PairedRun:
    return replace(run, reading_times_s=np.empty(0), readings_usv_h=np.empty(0))


def one_level(run: PairedRun) -> PairedRun:
    return between(run, 5.0, PART_S - 5.0)


def lower_levels(run: PairedRun) -> PairedRun:
    return between(run, 0.0, 1.9 * PART_S)


def upper_levels(run: PairedRun) -> PairedRun:
    return between(run, 3.1 * PART_S, HOUR_S)


def clock_off(run: PairedRun) -> PairedRun:
    return replace(run, reading_times_s=run.reading_times_s + 60.0)


def clock_far_off(run: PairedRun) -> PairedRun:
    return replace(run, reading_times_s=run.reading_times_s + 900.0)


def gap(run: PairedRun) -> PairedRun:
    heard = (run.pulse_times_s < 500.0) | (run.pulse_times_s > 700.0)
    return replace(run, pulse_times_s=run.pulse_times_s[heard])


def pause_of_the_recorder(run: PairedRun) -> PairedRun:
    """The sound was paused for half a minute and the two halves joined: clocks slip."""
    p = run.pulse_times_s
    p = np.concatenate((p[p < 700.0], p[p > 730.0] - 30.0))
    return replace(run, pulse_times_s=p, duration_s=run.duration_s - 30.0)


def few_readings(run: PairedRun) -> PairedRun:
    keep = slice(None, None, 30)
    return replace(
        run,
        reading_times_s=run.reading_times_s[keep],
        readings_usv_h=run.readings_usv_h[keep],
    )


def coarse_notes(run: PairedRun) -> PairedRun:
    """Noted by hand: full seconds, one digit."""
    keep = slice(None, None, 5)
    return replace(
        run,
        reading_times_s=np.round(run.reading_times_s[keep]),
        readings_usv_h=np.round(run.readings_usv_h[keep], 1),
    )


def half_of_the_clicks(run: PairedRun) -> PairedRun:
    heard = np.random.default_rng(3).random(run.pulse_times_s.size) < 0.5
    return replace(run, pulse_times_s=run.pulse_times_s[heard])


def another_box(run: PairedRun) -> PairedRun:
    return replace(run, pulse_times_s=np.sort(HOUR_S - run.pulse_times_s))


def frozen(run: PairedRun) -> PairedRun:
    return replace(run, readings_usv_h=np.full(run.readings_usv_h.size, 0.1))


def misread(run: PairedRun) -> PairedRun:
    values = run.readings_usv_h.copy()
    values[::40] *= 10.0
    return replace(run, readings_usv_h=values)


Cut = Callable[[PairedRun], PairedRun]
WEAK: list[tuple[Cut, str]] = [
    (no_clicks, "No pulses"),
    (no_display, "No readings"),
    (few_readings, "Too few readings"),
    (clock_far_off, "time structure"),
    (another_box, "time structure"),
    (frozen, "different numbers"),
]
WEAKER: list[tuple[Cut, str]] = [
    (one_level, "Only one level"),
    (gap, "without any pulse"),
    (misread, "misread"),
]
OTHER: list[Cut] = [
    lower_levels,
    upper_levels,
    clock_off,
    pause_of_the_recorder,
    coarse_notes,
    half_of_the_clicks,
]


@cache
def answer(cut: Cut) -> ReadoutFit:
    return fit_readout([cut(whole())], sweeps=250)


def never_wrong(fit: ReadoutFit) -> None:
    """Hold every interval against the truth, widened by its own width for 5 % of bad luck."""

    def holds(low: float, truth: float, high: float) -> bool:
        slack = high - low
        return low - slack <= truth <= high + slack

    if len(fit.factors) == 2:
        assert holds(fit.factors[0].low, LOW, fit.factors[0].high)
        assert holds(fit.factors[1].low, HIGH, fit.factors[1].high)
        assert fit.switch is not None
        assert holds(fit.switch.low, SWITCH, fit.switch.high)
    elif fit.factors:
        # one factor is said of the levels that were seen, and is that of their range
        one = fit.factors[0]
        assert holds(one.low, LOW, one.high) or holds(one.low, HIGH, one.high)
    if fit.time_constant is not None:
        assert fit.kind == "boxcar"
        assert holds(fit.time_constant.low, WINDOW, fit.time_constant.high)


@pytest.mark.parametrize(("cut", "words"), WEAK, ids=lambda x: getattr(x, "__name__", ""))
def test_no_answer_where_none_can_be_had(cut: Cut, words: str):
    fit = answer(cut)
    assert fit.model == "undetermined"
    assert fit.factors == ()
    assert fit.switch is None
    assert fit.time_constant is None
    assert any(words in m for m in fit.missing), fit.missing
    assert readout_findings("Lantern", fit, ("r",)) == []


@pytest.mark.parametrize(("cut", "words"), WEAKER, ids=lambda x: getattr(x, "__name__", ""))
def test_a_weaker_answer_says_what_is_missing(cut: Cut, words: str):
    fit = answer(cut)
    never_wrong(fit)
    assert any(words in m for m in fit.missing), fit.missing


@pytest.mark.parametrize("cut", OTHER, ids=lambda x: x.__name__)
def test_never_a_confident_wrong_answer(cut: Cut):
    fit = answer(cut)
    never_wrong(fit)


def test_a_minute_of_clock_is_found_and_said():
    fit = answer(clock_off)
    assert fit.clock_offsets[0].value == pytest.approx(-60.0, abs=1.0)
    assert any("clocks differ" in s for s in fit.statements)
    assert len(fit.factors) == 2


def test_levels_on_one_side_of_the_switch_give_the_factor_of_that_side():
    for cut, truth in ((lower_levels, LOW), (upper_levels, HIGH)):
        fit = answer(cut)
        assert len(fit.factors) == 1
        assert fit.factors[0].value == pytest.approx(truth, rel=0.03)
        assert any("nothing is known outside" in s for s in fit.statements)


def test_a_switch_crossed_one_way_only_says_so():
    rising = answer(clock_off)
    assert any("cross its switch both ways" in m for m in rising.missing) is not crossed_twice()


def crossed_twice() -> bool:
    """Whether the truth crossed its switch down as well as up in this hour."""
    shown = run_readout(MODEL, whole().pulse_times_s, HOUR_S).range_index
    return bool((np.diff(shown) > 0).any() and (np.diff(shown) < 0).any())


def test_a_clean_rise_through_the_switch_says_that_hysteresis_is_open():
    rng = np.random.default_rng(3)
    pulses = np.concatenate(
        [
            np.sort(rng.uniform(i * PART_S, (i + 1) * PART_S, rng.poisson(cpm / 60.0 * PART_S)))
            for i, cpm in enumerate((30.0, 60.0, 300.0, 600.0))
        ]
    )
    got = run_readout(replace(MODEL, hysteresis=0.3), pulses, 4 * PART_S)
    assert not (np.diff(got.range_index) < 0).any()
    run = PairedRun(pulses, 4 * PART_S, got.times_s, np.round(got.momentary, 9))
    fit = fit_readout([run], sweeps=200)
    assert len(fit.factors) == 2
    assert any("cross its switch both ways" in m for m in fit.missing)
    never_wrong(fit)
