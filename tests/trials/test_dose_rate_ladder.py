"""The dose-rate ladder trial."""

from dataclasses import replace

import numpy as np
import pytest

from counterproof.records import Measured
from counterproof.records.run import Absorber
from counterproof.signals.trains import CountLog
from counterproof.trials.criteria import profile
from counterproof.trials.dose_rate_ladder import TRIAL
from counterproof.trials.shape import Ask, Counter, Evidence
from counterproof.trials.shared import normal
from tests.trials.conftest import Make, sensitivity

GRADE = profile("grade_b")
CS = {"sources": ("caesium disc",), "nuclides": ("Cs-137",)}
MM = (400.0, 200.0, 100.0, 50.0, 30.0)


def ladder(
    lantern: Counter, wren: Counter, make: Make, factors: tuple[float, float], switch: float
) -> list[Evidence]:
    """A ladder of caesium: 3 µSv/h at 50 mm over 0.1 µSv/h; the factor changes at ``switch``."""
    evidence = [make(lantern, 0.2, 7200.0, display=0.1), make(wren, 0.25, 7200.0)]
    for mm in MM:
        dose = 3.0 * (50.0 / mm) ** 2 + 0.1
        cps = 2.0 * dose
        shown = 60.0 * cps / factors[0]
        if shown > switch:
            shown = 60.0 * cps / factors[1]
        evidence += [
            make(lantern, cps, 1800.0, display=shown, distance_mm=mm, **CS),
            make(wren, 2.5 * dose, 1800.0, distance_mm=mm, **CS),
        ]
    return evidence


def test_a_linear_counter_meets_it_and_no_change_is_claimed(
    lantern: Counter, wren: Counter, make: Make
) -> None:
    outcome = TRIAL.analyse(lantern, ladder(lantern, wren, make, (120.0, 120.0), 9e9), GRADE)
    assert [j.verdict for j in outcome.judgements].count("met") >= 3
    assert not any("change" in w for w in outcome.warnings)
    assert not any("inverse square" in w for w in outcome.warnings)
    row = next(r for r in outcome.table if "effective-centre offset" in r.values)
    offset = row.values["effective-centre offset"]
    assert isinstance(offset, Measured)
    assert offset.low is not None
    assert offset.high is not None
    assert offset.low < 0.0 < offset.high


def test_a_second_factor_is_seen_between_its_levels(
    lantern: Counter, wren: Counter, make: Make
) -> None:
    outcome = TRIAL.analyse(lantern, ladder(lantern, wren, make, (120.0, 200.0), 0.6), GRADE)
    assert outcome.verdict == "not met"
    change = next(w for w in outcome.warnings if "change" in w)
    assert "from 1" in change
    assert "to 2" in change or "to 19" in change
    assert len(outcome.charts) == 2


def test_too_few_distances_are_told(lantern: Counter, wren: Counter, make: Make) -> None:
    outcome = TRIAL.analyse(lantern, ladder(lantern, wren, make, (120.0, 120.0), 9e9)[:6], GRADE)
    assert outcome.verdict == "cannot tell yet"
    assert "only 2" in outcome.warnings[0]


@pytest.mark.parametrize(
    "mm,counts,seconds,background,misfit",
    [
        # public course repository catacisneros/PHY3802L_Fall2025, Distance_Counts.data; the
        # background of 120 in 300 s is an assumption
        (
            (100, 150, 220, 260, 290, 320),
            (227, 209, 202, 200, 202, 199),
            (20, 30, 65, 90, 119, 130),
            (120, 300),
            False,
        ),
        # a student laboratory's ladder, from memory
        (
            (6.35, 12.7, 19.05, 25.4, 31.75, 38.1),
            (4004, 2482, 1339, 831, 668, 487),
            (60,) * 6,
            (37, 60),
            True,
        ),
    ],
)
def test_real_ladders_are_flagged_when_they_do_not_fit(
    mm: tuple[float, ...],
    counts: tuple[int, ...],
    seconds: tuple[float, ...],
    background: tuple[int, float],
    misfit: bool,
    make: Make,
) -> None:
    plain = Counter("Lantern")

    def log(e: Evidence, n: int, t: float) -> Evidence:
        return replace(e, pulses=None, counts=CountLog(np.zeros(1), np.array([t]), np.array([n])))

    evidence = [log(make(plain, 1.0, background[1]), *background)]
    for d, n, t in zip(mm, counts, seconds, strict=True):
        run = make(plain, 1.0, t, distance_mm=d, **CS)
        evidence.append(log(run, n, t))
    outcome = TRIAL.analyse(plain, evidence, GRADE)
    assert any("inverse square" in w for w in outcome.warnings) == misfit
    row = next(r for r in outcome.table if "effective-centre offset" in r.values)
    offset = row.values["effective-centre offset"]
    assert isinstance(offset, Measured)
    if misfit:
        # 52.8 and 10.16 mm by weighted least squares; the likelihood used here weighs by the
        # expected counts, which moves χ² by a few per cent
        assert row.values["chi-squared"] == pytest.approx(52.8, rel=0.1)
        assert offset.value == pytest.approx(10.16, abs=0.3)
    else:
        assert row.values["chi-squared"] == pytest.approx(10.4, rel=0.1)
        assert offset.value == pytest.approx(3.8, abs=0.5)  # 0.38 cm


def test_the_plan_gives_far_levels_more_time(lantern: Counter, wren: Counter) -> None:
    plan = TRIAL.plan(Ask(lantern, (wren,), ("caesium disc",)))
    minutes = [r.minutes for r in plan.runs if r.instrument == "Lantern"]
    assert minutes == sorted(minutes, reverse=True)


def test_a_reference_for_another_nuclide_is_stated_and_not_judged(
    lantern: Counter, wren: Counter, make: Make
) -> None:
    strange = replace(wren, sensitivity_per_s_per_usv_h={"Co-60": sensitivity(2.5)})
    outcome = TRIAL.analyse(lantern, ladder(lantern, strange, make, (120.0, 120.0), 9e9), GRADE)
    assert outcome.verdict == "no criterion"
    assert len(outcome.judgements) == len(MM)
    assert any("not calibrated for the caesium disc" in w for w in outcome.warnings)
    # where physics knows the dose rate, it stands in for such a reference and is judged
    known = [
        replace(e, expected_usv_h=normal(3.0 * (50.0 / mm) ** 2, 0.01 * (50.0 / mm) ** 2))
        if (mm := e.run.position.distance_mm)
        else e
        for e in ladder(lantern, strange, make, (120.0, 120.0), 9e9)
    ]
    outcome = TRIAL.analyse(lantern, known, GRADE)
    assert not any("not calibrated" in w for w in outcome.warnings)
    assert [j.verdict for j in outcome.judgements].count("met") >= 3


def test_plates_and_turned_runs_are_no_rungs(lantern: Counter, wren: Counter, make: Make) -> None:
    plain = ladder(lantern, wren, make, (120.0, 120.0), 9e9)
    plate = (Absorber(material="Pb", areal_density_mg_cm2=11000.0),)
    astray = [
        make(lantern, 1.0, 1800.0, display=0.5, distance_mm=50.0, absorbers=plate, **CS),
        make(lantern, 1.0, 1800.0, display=0.5, distance_mm=50.0, angle_deg=90.0, **CS),
        make(lantern, 1.0, 1800.0, display=0.5, distance_mm=50.0, conditions={"step_s": 9}, **CS),
    ]
    outcome = TRIAL.analyse(lantern, [*plain, *astray], GRADE)
    assert outcome.table == TRIAL.analyse(lantern, plain, GRADE).table
