"""A box that does not click: its numbers on a ladder, and its three numbers beside each other."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from counterproof.forensics.readout_trial import TRIAL
from counterproof.forensics.registerfindings import register_findings, scatter_findings, stretches
from counterproof.forensics.silentfindings import (
    fit_levels,
    ladder_findings,
    levels_of,
    silent_answer,
)
from counterproof.readout import ReadoutModel, run_readout
from counterproof.records import Measured
from counterproof.signals.trains import ReadingLog
from counterproof.trials.criteria import profile
from counterproof.trials.shape import Counter, Evidence
from tests.forensics.runs import LANTERN, TWO, WREN, estimate, evidence, steady

ONE = replace(TWO, factors_cpm_per_usv_h=(140.0,), switches_cpm=())
PLACES_MM = (400.0, 250.0, 160.0, 100.0, 70.0, 50.0, 35.0)
NEAR_USV_H = 9.0
BACKGROUND_CPM = 20.0


def displayed(
    model: ReadoutModel, cpm: float, seed: int, seconds: float = 900.0
) -> tuple[ReadingLog, ...]:
    """What a steady field shows, the display settled and its registers reset at the start."""
    times = steady(np.random.default_rng([21, seed]), cpm / 60.0, seconds + 60.0)
    got = run_readout(model, times, seconds + 60.0)
    late = got.times_s > 60.0
    t = got.times_s[late] - 60.0
    return (
        ReadingLog(t, got.momentary[late], "dose_rate", "µSv/h"),
        ReadingLog(t, got.average[late], "dose_rate", "µSv/h", "average"),
    )


def ladder(model: ReadoutModel, places: tuple[float, ...] = PLACES_MM) -> list[Evidence]:
    """Readings alone over distances from one source whose dose rate physics expects."""
    runs = [evidence("bg", readings=displayed(model, BACKGROUND_CPM, 0)[:1], seconds=900.0)]
    for i, mm in enumerate(places, start=1):
        field = NEAR_USV_H * (35.0 / mm) ** 2
        log = displayed(model, BACKGROUND_CPM + 114.0 * field, i)[:1]
        runs.append(
            evidence(
                f"at{mm:.0f}",
                sources=("caesium",),
                nuclides=("Cs-137",),
                distance_mm=mm,
                readings=log,
                seconds=900.0,
                expected=estimate(field, 0.03),
            )
        )
    return runs


def test_a_ladder_without_clicks_shows_the_change_of_factor():
    answer = silent_answer(LANTERN, ladder(TWO))
    assert answer.factors == ()
    assert answer.kind == "undetermined"
    assert answer.factor_ratio is not None
    assert answer.factor_ratio.value == pytest.approx(240 / 140, rel=0.06)
    assert answer.factor_ratio.low <= 240 / 140 <= answer.factor_ratio.high
    assert answer.switch is not None
    assert answer.switch.low <= 1.05 * 180 / 140
    assert answer.switch.high >= 0.95 * 180 / 140
    assert answer.quantum is not None
    assert answer.quantum.value == pytest.approx(0.01)
    assert answer.refresh is not None
    assert answer.refresh.period_s == pytest.approx(2.0)
    assert any("no run with both" in m for m in answer.missing)
    found = ladder_findings(LANTERN, ladder(TWO), None)
    assert found[0].strength == "decisive"
    assert "change of factor" in found[0].statement
    assert len(found[0].rivals) == 3
    assert found[0].next_measurement is not None


def test_one_factor_shows_none_and_says_what_would_have_shown():
    answer = silent_answer(LANTERN, ladder(ONE))
    assert answer.factor_ratio is None
    assert answer.switch is None
    found = ladder_findings(LANTERN, ladder(ONE), None)
    assert "with one factor" in found[0].statement
    assert found[0].log10_bayes_factor is None


def test_a_reference_serves_as_truth_and_its_scale_drops_out():
    runs = []
    for e in ladder(TWO):
        runs.append(replace(e, expected_usv_h=None))
        at = e.run.position.distance_mm
        field = 0.0 if at is None else NEAR_USV_H * (35.0 / at) ** 2
        counts = round(2.5 * 1.3 * (0.1 + field) * 6000)
        wren = evidence(
            f"wren-{e.run.id}",
            WREN,
            sources=e.run.sources,
            nuclides=e.nuclides,
            distance_mm=at,
            counts=counts,
            seconds=6000.0,
        )
        runs.append(wren)
    levels = levels_of(LANTERN, runs)
    assert levels is not None
    fit = fit_levels(levels)
    assert fit is not None
    assert fit.step is not None
    assert fit.step.value == pytest.approx(140 / 240, rel=0.06)


def test_false_steps_are_rare_on_a_ladder_of_one_factor():
    found = 0
    for seed in range(150):
        rng = np.random.default_rng([5, seed])
        runs = [replace(e, readings=()) for e in ladder_of_means(rng)]
        levels = levels_of(LANTERN, ladder_of_means(rng))
        assert levels is not None
        fit = fit_levels(levels)
        assert fit is not None
        found += fit.step is not None
        assert levels_of(LANTERN, runs) is None
    assert found <= 4


def ladder_of_means(rng: np.random.Generator) -> list[Evidence]:
    """Registers read at start and end, each level set up 3 % off at random."""
    from tests.forensics.runs import shown

    runs = [evidence("bg", readings=(shown(20 / 140, 3600.0),), seconds=3600.0)]
    for mm in PLACES_MM:
        field = NEAR_USV_H * (35.0 / mm) ** 2
        counts = rng.poisson((BACKGROUND_CPM + 114.0 * field * np.exp(rng.normal(0, 0.03))) * 60)
        runs.append(
            evidence(
                f"at{mm:.0f}",
                sources=("caesium",),
                distance_mm=mm,
                readings=(shown(counts / 60 / 140.0, 3600.0),),
                seconds=3600.0,
                expected=estimate(field, 0.02),
            )
        )
    return runs


def three_numbers(model: ReadoutModel) -> list[Evidence]:
    """Momentary and average readings alone at six levels, no true dose rate known."""
    levels = (40.0, 80.0, 130.0, 260.0, 500.0, 900.0)
    return [
        evidence(f"n{i}", readings=displayed(model, cpm, 50 + i), seconds=900.0)
        for i, cpm in enumerate(levels)
    ]


# a firmware whose average divides all counts by the lowest factor
COUNTED = replace(TWO, average_from="counts")


def test_the_displayed_numbers_alone_show_a_change_of_factor():
    found = register_findings("Lantern", three_numbers(COUNTED), None)
    step = next(f for f in found if f.subject == "average register")
    assert "changes its factor" in step.statement
    assert step.measured is not None
    assert step.measured.value == pytest.approx(140 / 240, rel=0.05)
    assert step.strength in ("strong", "decisive")
    answer = silent_answer(LANTERN, three_numbers(COUNTED))
    assert answer.factor_ratio is not None
    assert answer.factor_ratio.value == pytest.approx(240 / 140, rel=0.05)
    assert any("No ladder of known dose rates" in m for m in answer.missing)


def test_registers_that_follow_the_display_show_nothing():
    found = register_findings("Lantern", three_numbers(TWO), None)
    assert found
    assert all("changes its factor" not in f.statement for f in found)
    assert silent_answer(LANTERN, three_numbers(TWO)).factor_ratio is None


def test_a_long_run_is_compared_stretch_by_stretch():
    run = evidence("long", Counter("Lantern", window_s=20.0), readings=displayed(ONE, 120.0, 9))
    assert len(stretches(run, None)) == 7


def test_scatter_needs_a_window_and_a_factor():
    stated = Counter("Lantern", stated_cpm_per_usv_h=(140.0,), window_s=20.0)
    honest = [evidence("h", stated, readings=displayed(ONE, 120.0, 7, 3600.0), seconds=3600.0)]
    agrees = scatter_findings("Lantern", honest, None)
    assert "as the counts behind them allow" in agrees[0].statement
    log = honest[0].readings[0]
    smooth = np.convolve(log.values, np.ones(60) / 60.0, "same")[60:-60]
    flat = replace(log, times_s=log.times_s[60:-60], values=smooth)
    smoothed = replace(honest[0], readings=(flat,))
    found = scatter_findings("Lantern", [smoothed], None)
    assert "scatter less" in found[0].statement
    assert found[0].strength in ("strong", "decisive")
    unknown = [evidence("u", LANTERN, readings=displayed(ONE, 120.0, 7), seconds=900.0)]
    assert scatter_findings("Lantern", unknown, None) == []


def test_scatter_of_a_run_over_several_levels_is_not_judged():
    stated = Counter("Lantern", stated_cpm_per_usv_h=(140.0,), window_s=20.0)
    parts = [displayed(ONE, cpm, 70 + i)[0] for i, cpm in enumerate((40.0, 120.0, 360.0))]
    log = ReadingLog(
        np.concatenate([x.times_s + 900.0 * i for i, x in enumerate(parts)]),
        np.concatenate([x.values for x in parts]),
        "dose_rate",
        "µSv/h",
    )
    stairs = [evidence("stairs", stated, readings=(log,), seconds=2700.0)]
    assert scatter_findings("Lantern", stairs, None) == []


def test_the_readout_trial_says_what_the_numbers_alone_tell():
    outcome = TRIAL.analyse(LANTERN, ladder(TWO), profile("grade_b"))
    assert outcome.verdict == "cannot tell yet"
    assert "the factor changes there" in outcome.statement
    ratio = outcome.table[0].values["factor above over below"]
    assert isinstance(ratio, Measured)
    assert ratio.value == pytest.approx(240 / 140, rel=0.06)
    assert len(outcome.runs) == len(PLACES_MM) + 1
