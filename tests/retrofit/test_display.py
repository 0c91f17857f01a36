"""Display against true dose rate, best settings, the end of the range."""

from dataclasses import replace

import numpy as np
import pytest

from counterproof.errors import UserError
from counterproof.kit.instrument import Instrument
from counterproof.readout import Boxcar, Exponential, ReadoutModel, displayed, run_readout
from counterproof.records import Measured
from counterproof.records.readout import ReadoutEvidence, ReadoutReport
from counterproof.retrofit import display
from counterproof.retrofit.box import box_of
from tests.retrofit.invented import LANTERN

TWO = ReadoutModel(
    estimator=Boxcar(40.0),
    factors_cpm_per_usv_h=(110.0, 190.0),
    switches_cpm=(66.0,),
    hysteresis=0.1,
    quantum_usv_h=0.0,
)


def tube(per=2.0, own=0.05, background=0.2, dead=1e-4):
    return display.Counted(*(np.array([v]) for v in (own, background, 0.1, per, dead)))


@pytest.mark.parametrize("rate", [0.25, 0.9, 1.05, 1.3, 4.0])
@pytest.mark.parametrize(
    "firmware",
    [TWO, ReadoutModel(Exponential(20.0), (110.0, 190.0), (66.0,), quantum_usv_h=0.0)],
    ids=["boxcar, hysteresis", "exponential"],
)
def test_mean_display_is_that_of_the_firmware_itself(firmware, rate):
    # against the forward model over 5.5 hours of Poisson pulses; the hysteresis is treated as the
    # mean of its two thresholds, which is good to 6 %
    rng = np.random.default_rng(int(1000 * rate))
    pulses = np.cumsum(rng.exponential(1.0 / rate, int(rate * 22000)))
    shown = run_readout(firmware, pulses, 20000.0).momentary[200:]
    mean = float(display.mean_display(firmware, np.array(rate), np.array(0.0)))
    scatter = 0.7 / np.sqrt(rate * 20000.0)
    assert mean == pytest.approx(float(shown.mean()), rel=0.06 + 3 * scatter)


def test_switch_far_away_is_plain_arithmetic():
    # two-factor meter, 140 and 240 cpm/(µSv/h), switch at 180 cpm: 179 cpm shows 1.2786, 181 cpm
    # shows 0.7542 (values invented, by hand); far from it the mean display is the same arithmetic
    firmware = ReadoutModel(Boxcar(1e9), (140.0, 240.0), (180.0,), quantum_usv_h=0.0)
    for cpm, shown in ((179.0, 1.2786), (181.0, 0.7542)):
        mean = float(display.mean_display(firmware, np.array(cpm / 60.0), np.array(0.0)))
        assert mean == pytest.approx(shown, abs=5e-5)
        assert mean == pytest.approx(float(displayed(firmware, np.array([cpm]))[0]))


def test_best_settings_are_those_of_a_search_through_the_firmware():
    box = box_of(Instrument.model_validate(LANTERN))
    counted, levels = tube(per=2.6), display.levels_of(0.6, 20.0)
    found = display.best_settings(box, counted, levels)
    # every step of the menu, through the forward firmware at steady rates
    rate = counted.rate_per_s(levels)[0]
    cpm = 60.0 * rate / (1.0 + rate * 1e-4)
    worst = {}
    for value in np.arange(60.0, 400.1, 5.0):
        firmware = replace(box.firmware, factors_cpm_per_usv_h=(110.0, value))
        shown = np.where(cpm < 66.0, cpm / 110.0, cpm / value)
        assert shown[-1] == pytest.approx(display.ratio_at(firmware, counted, levels)[0, -1] * 20.0)
        worst[value] = np.abs(shown / levels - 1.0).max()
    best = min(worst, key=worst.get)
    assert abs(found.values[0][1] - best) <= 5.0
    assert found.firmware.factors_cpm_per_usv_h[0] == 110.0  # nothing sets it


def test_a_threshold_in_the_menu_is_used():
    given = LANTERN | {"setting": [*LANTERN["setting"][:2], {
        "kind": "threshold", "name": "switch", "unit": "cpm", "value": 66.0, "low": 6.0,
        "high": 300.0, "step": 6.0}]}  # fmt: skip
    box = box_of(Instrument.model_validate(given))
    levels = display.levels_of(0.1, 20.0)
    plain = display.best_settings(box_of(Instrument.model_validate(LANTERN)), tube(2.6), levels)
    free = display.best_settings(box, tube(2.6), levels)
    assert abs(free.worst) <= abs(plain.worst)
    assert free.firmware.switches_cpm[0] < 66.0  # the factor that can be set takes over sooner


def test_ends_of_ranges_and_of_the_range():
    counted = tube(per=2.0, own=0.1, background=0.2, dead=1e-4)
    # by hand: 66 cpm seen is 1.1/s, true 1.1/(1 − 1.1e-4) = 1.100121/s; less 0.3, over 2, plus 0.1
    assert display.range_ends_usv_h(TWO, counted)[0][0] == pytest.approx(0.1 + 0.800121 / 2.0)
    # below the background's own dose rate: 12 cpm seen is 0.2/s, less 0.1, half of the background
    low = ReadoutModel(Boxcar(40.0), (110.0, 190.0), (12.0,))
    assert display.range_ends_usv_h(low, counted)[0][0] == pytest.approx(0.05, rel=1e-3)
    # 20 % lost at n τ = 0.25: 2500/s, 1250 µSv/h; the display ends it at 1000·190/60/2 and losses
    losses, shown = display.top_of_range_usv_h(TWO, counted, 1000.0)
    assert losses[0] == pytest.approx(1250.0)
    m = 1000.0 * 190.0 / 60.0
    assert shown[0] == pytest.approx(m / (1.0 - m * 1e-4) / 2.0)
    # firmware that corrects 50 of 100 µs doubles it, one that corrects exactly never ends it
    half = ReadoutModel(Boxcar(40.0), (110.0,), dead_time_s=5e-5)
    assert display.top_of_range_usv_h(half, counted, None)[0][0] == pytest.approx(2500.0)
    exact = ReadoutModel(Boxcar(40.0), (110.0,), dead_time_s=1e-4)
    assert np.isinf(display.top_of_range_usv_h(exact, counted, None)[0][0])


def test_box_from_an_inferred_report():
    def m(value):
        return Measured(value=value)

    report = ReadoutReport(
        instrument="Lantern", model="", estimator="boxcar",
        factors_cpm_per_usv_h=(m(112.0), m(188.0)), switch_usv_h=m(0.6), time_constant_s=m(39.0),
        quantum_usv_h=m(0.01), hysteresis=m(0.1),
        evidence=ReadoutEvidence(readings=1, pulses=1, reproduced_share=1, independent_share=1,
                                 loss_share=0),
    )  # fmt: skip
    box = box_of(Instrument.model_validate(LANTERN), report)
    assert box.firmware.factors_cpm_per_usv_h == (112.0, 188.0)
    assert box.firmware.switches_cpm == pytest.approx((67.2,))
    assert box.menu[0].present == 188.0
    assert box.fixed == (0,)


def test_a_box_of_which_nothing_is_known_says_what_is_missing():
    with pytest.raises(UserError, match="factor turns"):
        box_of(Instrument.model_validate({"name": "Lantern"}))
    missing = LANTERN | {"setting": LANTERN["setting"][:2]}
    with pytest.raises(UserError, match="where it switches"):
        box_of(Instrument.model_validate(missing))
