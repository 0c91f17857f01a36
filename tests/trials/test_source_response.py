"""The source response trial."""

import pytest

from counterproof.records import Measured
from counterproof.trials.criteria import profile
from counterproof.trials.shape import Ask, Counter
from counterproof.trials.source_response import TRIAL
from tests.trials.conftest import Make

GRADE = profile("grade_b")
CS = {"sources": ("caesium disc",), "nuclides": ("Cs-137",)}


def scene(lantern: Counter, wren: Counter, make: Make, display: float) -> list:  # type: ignore[type-arg]
    """1 µSv/h of caesium over 0.1 µSv/h of background."""
    return [
        make(lantern, 0.2, 3600.0, display=0.1),
        make(wren, 0.25, 3600.0),
        make(lantern, 2.2, 1200.0, display=display, distance_mm=50.0, **CS),
        make(wren, 2.75, 1200.0, distance_mm=50.0, **CS),
    ]


@pytest.mark.parametrize(
    "display,verdict,ratio", [(1.1, "met", 1.0), (0.7, "not met", 0.6), (1.6, "not met", 1.5)]
)
def test_net_ratio_to_the_reference(
    display: float, verdict: str, ratio: float, lantern: Counter, wren: Counter, make: Make
) -> None:
    outcome = TRIAL.analyse(lantern, scene(lantern, wren, make, display), GRADE)
    assert outcome.verdict == verdict, outcome.statement
    assert outcome.judgements[0].measured.value == pytest.approx(ratio, abs=0.08)


def test_background_of_the_same_counter_is_needed(
    lantern: Counter, wren: Counter, make: Make
) -> None:
    evidence = scene(lantern, wren, make, 1.1)[2:]
    outcome = TRIAL.analyse(lantern, evidence, GRADE)
    assert outcome.verdict == "cannot tell yet"
    assert any("background run" in w for w in outcome.warnings)


def test_another_nuclide_than_calibrated_for_is_stated_and_not_judged(
    lantern: Counter, wren: Counter, make: Make
) -> None:
    barium = {"sources": ("barium disc",), "nuclides": ("Ba-133",)}
    evidence = [
        *scene(lantern, wren, make, 1.1)[:2],
        make(lantern, 2.2, 1200.0, display=1.1, distance_mm=50.0, **barium),
        make(wren, 2.75, 1200.0, distance_mm=50.0, **barium),
    ]
    outcome = TRIAL.analyse(lantern, evidence, GRADE)
    assert [j.verdict for j in outcome.judgements] == ["no criterion"]
    assert any("not calibrated for the barium disc" in w for w in outcome.warnings)


def test_places_are_kept_apart(lantern: Counter, wren: Counter, make: Make) -> None:
    evidence = scene(lantern, wren, make, 1.1)
    evidence += [
        make(lantern, 0.7, 1200.0, display=0.35, distance_mm=100.0, **CS),
        make(wren, 0.875, 1200.0, distance_mm=100.0, **CS),
    ]
    outcome = TRIAL.analyse(lantern, evidence, GRADE)
    assert len(outcome.judgements) == 2
    assert {"caesium disc, 50 mm", "caesium disc, 100 mm"} <= {r.label for r in outcome.table}


def test_a_ladder_of_one_source_is_left_to_its_own_trial(
    lantern: Counter, wren: Counter, make: Make
) -> None:
    barium = {"sources": ("barium disc",), "nuclides": ("Ba-133",)}
    evidence = scene(lantern, wren, make, 1.1)
    evidence += [
        make(lantern, 0.7, 600.0, display=0.35, distance_mm=100.0, **CS),
        make(lantern, 2.2, 600.0, display=1.1, distance_mm=50.0, **barium),
    ]
    outcome = TRIAL.analyse(lantern, evidence, GRADE)
    labels = {r.label for r in outcome.table if "minutes" in r.values}
    assert labels == {"caesium disc", "barium disc"}


def test_counts_are_compared_even_without_a_display(wren: Counter, make: Make) -> None:
    mute = Counter("Lantern")
    evidence = [
        make(mute, 0.2, 3600.0),
        make(wren, 0.25, 3600.0),
        make(mute, 2.2, 1200.0, **CS),
        make(wren, 2.75, 1200.0, **CS),
    ]
    outcome = TRIAL.analyse(mute, evidence, GRADE)
    row = next(r for r in outcome.table if "net counts" in r.label)
    value = row.values["caesium disc"]
    assert isinstance(value, Measured)
    assert value.value == pytest.approx(0.8, abs=0.08)


def test_the_plan_splits_time_for_the_net_rate(lantern: Counter, wren: Counter) -> None:
    ask = Ask(lantern, (wren,), ("caesium disc", "barium disc"), 0.05, 0.25, 2.0)
    plan = TRIAL.plan(ask)
    assert len(plan.runs) == 2 * 3
    gross = next(r for r in plan.runs if r.sources).minutes * 60
    background = next(r for r in plan.runs if not r.sources).minutes * 60
    # net σ² = g/t + b/tb must be (5 % of 2 /s)²
    assert 2.25 / gross + 0.25 / background == pytest.approx((0.05 * 2.0) ** 2, rel=1e-6)
    assert plan.cautions
