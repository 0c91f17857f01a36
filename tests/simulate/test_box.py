"""A virtual counter's display, clicks and truth belong together; so does the invented story."""

from pathlib import Path

import numpy as np
import pytest

from counterproof.errors import Cancelled
from counterproof.readout import Boxcar, ReadoutModel
from counterproof.simulate import hollow_lane
from counterproof.simulate.box import Box, Tube, run_box


def test_display_follows_the_factor_and_the_dead_time() -> None:
    tube = Tube({"caesium": 2.0}, 0.1, non_paralysable_s=200e-6)
    box = Box(tube, ReadoutModel(Boxcar(100.0), (120.0,), quantum_usv_h=0.0))
    true = tube.rate_per_s({"caesium": 500.0})
    assert true == pytest.approx(1000.1)
    run = run_box(box, true, 400.0, 3, warm_up_s=100.0)
    # non-paralysable tube: m = n/(1+nτ); display = 60·m/factor
    expected = true / (1 + true * 200e-6)
    assert run.pulses_s.size / 400.0 == pytest.approx(expected, rel=0.01)
    assert run.readings.momentary.mean() == pytest.approx(60 * expected / 120.0, rel=0.01)
    assert run.sound is None
    with pytest.raises(KeyError):
        tube.rate_per_s({"sunshine": 1.0})


def test_a_step_reaches_the_display_after_the_window() -> None:
    box = Box(Tube({}, non_paralysable_s=0.0), ReadoutModel(Boxcar(20.0), (60.0,)))
    run = run_box(box, lambda t: np.where(t < 100, 10.0, 100.0), 200.0, 1, warm_up_s=30.0)
    log = run.reading_log()
    at = dict(zip(np.round(log.times_s).tolist(), log.values.tolist(), strict=True))
    assert at[99] == pytest.approx(10.0, abs=4)
    assert at[110] == pytest.approx(55.0, abs=10)
    assert at[125] == pytest.approx(100.0, abs=12)


def test_reading_logs_can_be_noted_seldom_and_say_what_they_are() -> None:
    box = Box(Tube({}), ReadoutModel(dose_quantum_usv=0.001))
    run = run_box(box, 5.0, 60.0, 1)
    assert run.reading_log(every_s=10.0).times_s.size == 6
    dose = run.reading_log("accumulated")
    assert (dose.quantity, dose.unit, dose.field) == ("dose", "µSv", "accumulated")
    assert (np.diff(dose.values) >= 0).all()


def test_double_pulses_show_as_short_intervals() -> None:
    box = Box(Tube({}, double_share=0.1, double_delay_s=400e-6))
    run = run_box(box, 20.0, 500.0, 2, with_sound=False)
    short = np.count_nonzero(np.diff(run.pulses_s) < 600e-6)
    assert short == pytest.approx(0.1 * 10_000, rel=0.25)


def test_the_story_is_what_it_says() -> None:
    def shown(counter: str, source: str | None, distance_m: float = 0.05) -> float:
        """Displayed value at infinite counting time, from the data alone."""
        model = hollow_lane.COUNTERS[counter].box.readout
        cpm = 60 * hollow_lane.true_rate_per_s(counter, source, distance_m)
        high = bool(model.switches_cpm) and cpm >= model.switches_cpm[0]
        return (cpm - model.background_cpm) / model.factors_cpm_per_usv_h[int(high)]

    assert shown("Lantern", None) / shown("Wren", None) == pytest.approx(4 / 3, abs=0.02)
    for distance in (0.05, 0.03):
        field = sum(hollow_lane.dose_rate_usv_h("caesium", distance).values())
        assert field > 0.6
        ratio = shown("Lantern", "caesium", distance) / shown("Wren", "caesium", distance)
        assert ratio == pytest.approx(0.6, abs=0.03)
        assert shown("Wren", "caesium", distance) == pytest.approx(field, rel=0.03)
    # caesium disc: inverse square, 37 kBq at 10 cm; 10 kBq give 0.091 µSv/h there (air-kerma-rate
    # constant 0.0754 µGy m²/(MBq h) and 1.203 Sv/Gy of ICRP 74)
    at_10cm = hollow_lane.dose_rate_usv_h("caesium", 0.10)["caesium"]
    assert at_10cm == pytest.approx(3.7 * 0.0907, rel=0.005)
    # blind to betas: strontium moves Lantern by less than 2 %, the others by a factor
    bare = hollow_lane.true_rate_per_s("Lantern")
    assert hollow_lane.true_rate_per_s("Lantern", "strontium") / bare < 1.02
    for other in ("Wren", "Heron"):
        alone = hollow_lane.true_rate_per_s(other)
        assert hollow_lane.true_rate_per_s(other, "strontium") > 50 * alone
        assert hollow_lane.true_rate_per_s(other, "rods") > 5 * alone


def test_runs_are_made_from_their_seeds_and_written(tmp_path: Path) -> None:
    run = next(r for r in hollow_lane.RUNS if r.key == "repeat-lantern-1")
    one = hollow_lane.make_run(run, with_sound=False)
    two = hollow_lane.make_run(run, with_sound=True)
    assert np.array_equal(one.pulses_s, two.pulses_s)
    assert two.sound is not None
    assert two.sound.onsets_s.size == two.pulses_s.size
    written = hollow_lane.write_runs(tmp_path, runs=[run])[0]
    assert written.audio.stat().st_size > 10_000
    lines = written.readings.read_text(encoding="utf-8").splitlines()
    assert lines[0] == "time_s,momentary_usv_h"
    assert len(lines) == 1 + 8
    with pytest.raises(Cancelled):
        hollow_lane.write_runs(tmp_path, runs=[run], report=lambda done, total: False)


def test_keys_are_unique_and_the_sound_is_short_enough() -> None:
    keys = [r.key for r in hollow_lane.RUNS]
    assert len(set(keys)) == len(keys)
    assert sum(r.duration_s for r in hollow_lane.RUNS if r.kept == "sound") < 90 * 60
