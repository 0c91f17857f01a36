"""The angle trial: a known polar response recovered, and what is missing said."""

from dataclasses import replace

import numpy as np
import pytest

from counterproof.records import Series
from counterproof.trials.angle import ANGLES_DEG, TRIAL
from counterproof.trials.criteria import profile
from counterproof.trials.shape import Ask, Counter, Evidence
from tests.trials.conftest import Make

IEC = profile("iec_60846")
CS = {"sources": ("caesium disc",), "nuclides": ("Cs-137",), "distance_mm": 100.0}


def turned(
    make: Make, lantern: Counter, response: dict[float, float], seconds: float, seed: int = 1
) -> list[Evidence]:
    """Runs at angles, 3 counts per second at 0° over a background of 0.5."""
    runs = [make(lantern, 0.5, seconds, seed=seed)]
    return runs + [
        make(lantern, 0.5 + 3.0 * r, seconds, angle_deg=a, seed=seed, **CS)
        for a, r in response.items()
    ]


@pytest.mark.parametrize("seconds", [30.0, 600.0])
def test_a_known_response_is_covered(make: Make, lantern: Counter, seconds: float) -> None:
    inside = 0
    for seed in range(60):
        outcome = TRIAL.analyse(lantern, turned(make, lantern, {0: 1, 90: 0.7}, seconds, seed), IEC)
        found = outcome.judgements[0].measured
        inside += found.low <= 0.7 <= found.high
    # 60 intervals of 95 %: fewer than 52 inside has a chance of 0.6 %
    assert inside >= 52


def test_least_and_verdict(make: Make, lantern: Counter) -> None:
    response = {0.0: 1.0, 45.0: 0.95, 90.0: 0.9, 180.0: 0.4}
    outcome = TRIAL.analyse(lantern, turned(make, lantern, response, 6000.0), IEC)
    assert outcome.verdict == "not met"
    assert "sees least at 180°" in outcome.statement
    verdicts = {j.quantity.split(" at ")[1].split("°")[0]: j.verdict for j in outcome.judgements}
    assert verdicts == {"45": "met", "90": "met", "180": "not met"}
    # a profile that is silent on angles states the ratios
    assert TRIAL.analyse(
        lantern, turned(make, lantern, response, 6000.0), profile("grade_b")
    ).verdict == "no criterion"  # fmt: skip


def test_no_dependence_is_not_called_one(make: Make, lantern: Counter) -> None:
    outcome = TRIAL.analyse(lantern, turned(make, lantern, {0: 1, 90: 1, 180: 1}, 300.0, 5), IEC)
    assert "no dependence on the angle" in outcome.statement


def test_nothing_seen_from_behind(make: Make, lantern: Counter) -> None:
    runs = turned(make, lantern, {0.0: 1.0}, 600.0)
    silent = make(lantern, 0.0, 5.0, count=0, angle_deg=180.0, **CS)
    outcome = TRIAL.analyse(lantern, [*runs, silent], IEC)
    found = outcome.judgements[0].measured
    assert found.low < 0.0 <= found.high < 0.3
    assert outcome.verdict == "not met"
    # ten minutes of silence where 300 counts of background belong: no response, a fault
    stopped = make(lantern, 0.0, 600.0, count=0, angle_deg=180.0, **CS)
    outcome = TRIAL.analyse(lantern, [*runs, stopped], IEC)
    assert outcome.verdict == "cannot tell yet"
    assert any("fewer counts than at background" in w for w in outcome.warnings)


def test_the_predicted_curve_serves_both_sides(make: Make, lantern: Counter) -> None:
    curve = Series(name="tube", x=(0.0, 90.0, 180.0), y=(1.0, 0.6, 1.0))
    known = replace(lantern, predicted_angle=curve)
    outcome = TRIAL.analyse(known, turned(make, known, {0: 1, -45: 0.8, 90: 0.6}, 600.0), IEC)
    predicted = {r.label: r.values.get("predicted") for r in outcome.table}
    assert predicted == {"-45°": pytest.approx(0.8), "0°": 1.0, "90°": pytest.approx(0.6)}


def test_displays_serve_where_nothing_clicks(make: Make, lantern: Counter) -> None:
    runs = [make(lantern, 0, 7200.0, pulses=False, display=0.1, field="average")]
    runs += [
        make(lantern, 0, 7200.0, pulses=False, display=d, field="average", angle_deg=a, **CS)
        for a, d in ((0.0, 5.1), (90.0, 2.6))
    ]
    outcome = TRIAL.analyse(lantern, runs, IEC)
    assert outcome.judgements[0].measured.value == pytest.approx(0.5)


@pytest.mark.parametrize(
    "keep,words",
    [
        (lambda e: e.run.position.angle_deg == 0.0, "one angle only"),
        (lambda e: e.run.position.angle_deg != 0.0 or not e.run.sources, "no run at 0°"),
        (lambda e: bool(e.run.sources), "no background run"),
    ],
    ids=["one angle", "no front", "no background"],
)
def test_what_is_missing_is_said(keep, words: str, make: Make, lantern: Counter) -> None:  # type: ignore[no-untyped-def]
    runs = [e for e in turned(make, lantern, {0: 1, 45: 0.9, 90: 0.7}, 600.0) if keep(e)]
    outcome = TRIAL.analyse(lantern, runs, IEC)
    assert outcome.verdict == "cannot tell yet"
    assert not outcome.judgements
    assert any(words in w for w in outcome.warnings), outcome.warnings


def test_a_source_that_does_not_stand_out(make: Make, lantern: Counter) -> None:
    runs = [
        make(lantern, 0.5, 60.0),
        *(make(lantern, 0.5, 60.0, angle_deg=a, **CS) for a in (0, 90)),
    ]
    outcome = TRIAL.analyse(lantern, runs, IEC)
    assert outcome.verdict == "cannot tell yet"
    assert any("does not rise above" in w for w in outcome.warnings)


def test_the_plan_turns_it_all_around(lantern: Counter) -> None:
    plan = TRIAL.plan(Ask(lantern))
    assert len(plan.runs) == len(ANGLES_DEG) + 1
    assert np.isfinite(plan.total_minutes)
