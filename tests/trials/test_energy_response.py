"""The energy response: a known over-response recovered, and what is missing said."""

from dataclasses import replace

import numpy as np
import pytest

from counterproof.quantities import Estimate
from counterproof.records import Measured, Series
from counterproof.trials.criteria import profile
from counterproof.trials.emitted import mean_photon_kev
from counterproof.trials.energy_response import TRIAL
from counterproof.trials.shape import Ask, Counter, Evidence
from counterproof.trials.shared import normal
from tests.trials.conftest import Make, sensitivity

IEC = profile("iec_60846")


def counted(make: Make, lantern: Counter, over: float, count_scale: float = 1.0) -> list[Evidence]:
    """Lantern (2 counts per second at 1 µSv/h of caesium) beside a Wren calibrated for both."""
    wren = Counter("Wren", (), 60.0, {"Cs-137": sensitivity(2.5), "Ba-133": sensitivity(4.0)})
    seconds = 600.0 * count_scale
    runs = [make(lantern, 0.2, seconds), make(wren, 0.3, seconds)]
    for nuclide, times, per_usv in (("Cs-137", 1.0, 2.5), ("Ba-133", over, 4.0)):
        at = {"sources": (nuclide,), "nuclides": (nuclide,), "distance_mm": 100.0}
        runs.append(make(lantern, 0.2 + 6.0 * times, seconds, **at))
        runs.append(make(wren, 0.3 + 3.0 * per_usv, seconds, **at))
    return runs


def ratio_of(outcome_value: object) -> Estimate:
    assert isinstance(outcome_value, Measured)
    return outcome_value.estimate()


@pytest.mark.parametrize("scale", [0.02, 1.0])
def test_a_known_over_response_is_covered(make: Make, scale: float) -> None:
    lantern = Counter("Lantern", (120.0,), 40.0)
    inside = 0
    for seed in range(30):
        rng = np.random.default_rng([9, seed])
        # the reference's calibration errs by as much as it says
        known = {
            n: s.scaled(1.0 + rng.normal(0.0, 0.02))
            for n, s in {"Cs-137": sensitivity(2.5), "Ba-133": sensitivity(4.0)}.items()
        }
        shaken = [
            replace(e, counter=replace(e.counter, sensitivity_per_s_per_usv_h=known))
            if e.counter.name == "Wren"
            else e
            for e in counted(make, lantern, 1.6, scale)
        ]
        found = TRIAL.analyse(lantern, shaken, IEC).judgements[0].measured
        inside += found.low <= 1.6 <= found.high
    # 30 intervals of 95 %: fewer than 26 inside has a chance of 1.6 %
    assert inside >= 26


def test_it_departs_where_it_departs(make: Make, lantern: Counter) -> None:
    outcome = TRIAL.analyse(lantern, counted(make, lantern, 2.4, 10.0), IEC)
    assert outcome.verdict == "not met"
    assert "departs most at the Ba-133" in outcome.statement
    (row,) = outcome.table
    assert ratio_of(row.values["relative to Cs-137"]).value == pytest.approx(2.4, rel=0.08)
    alike = TRIAL.analyse(lantern, counted(make, lantern, 1.0, 10.0), IEC)
    assert alike.verdict == "met"
    assert "no departure" in alike.statement


def test_mean_energies_of_sources() -> None:
    # lines of ICRP-107: caesium has one at 661.657 keV (and X rays of 32 to 38 keV, 7 % of it);
    # cobalt 1173 and 1332 keV of equal strength; americium 59.5 keV
    caesium, cobalt, americium = (mean_photon_kev([n]) for n in ("Cs-137", "Co-60", "Am-241"))
    assert caesium is not None
    assert cobalt is not None
    assert americium is not None
    assert 640.0 < caesium <= 661.7
    assert cobalt == pytest.approx(1258.0, abs=5.0)  # H*(10)-weighted mean of 1173.2 and 1332.5
    assert americium == pytest.approx(59.5, abs=0.5)
    assert mean_photon_kev(["Sr-90"]) is None


def test_energies_outside_the_criterion_are_stated(make: Make, lantern: Counter) -> None:
    at = {"distance_mm": 100.0}
    truth = normal(3.0, 0.03, "µSv/h")
    runs = [make(lantern, 0.2, 6000.0)]
    for nuclide, rate in (("Cs-137", 6.0), ("Am-241", 40.0)):
        run = make(lantern, 0.2 + rate, 600.0, sources=(nuclide,), nuclides=(nuclide,), **at)
        runs.append(replace(run, expected_usv_h=truth))
    outcome = TRIAL.analyse(lantern, runs, IEC)
    assert outcome.judgements[0].verdict == "no criterion"  # 59.5 keV lies below 80 keV
    assert outcome.judgements[0].measured.value == pytest.approx(40.0 / 6.0, rel=0.06)
    assert outcome.table[0].values["true dose rate, from"] == "physics of the source"


def test_the_predicted_curve_stands_beside(make: Make, lantern: Counter) -> None:
    curve = Series(name="tube", x=(60.0, 240.0, 960.0), y=(5.0, 2.0, 1.0))
    known = replace(lantern, predicted_energy=curve)
    outcome = TRIAL.analyse(known, counted(make, known, 1.6), IEC)
    (row,) = outcome.table
    energy, predicted = row.values["mean energy in keV"], row.values["predicted"]
    assert isinstance(energy, float)
    expected = np.interp(np.log(energy), np.log([60.0, 240.0, 960.0]), [5.0, 2.0, 1.0])
    assert predicted == pytest.approx(float(expected))
    assert [s.role for s in outcome.charts[0].series] == ["measured", "expected"]


class TestInsufficient:
    """Too little gives the sentence that says what is missing."""

    @pytest.mark.parametrize(
        "left_out,words",
        [
            (("Lantern", ()), "no background run"),
            (("Lantern", ("Cs-137",)), "Cs-137 was not measured"),
            (("Lantern", ("Ba-133",)), "No source of another energy"),
            (("Wren", ("Ba-133",)), "its true dose rate is unknown"),
        ],
    )
    def test_a_run_is_missing(
        self, left_out: tuple[str, tuple[str, ...]], words: str, make: Make, lantern: Counter
    ) -> None:
        runs = [
            e for e in counted(make, lantern, 1.6) if (e.counter.name, e.run.sources) != left_out
        ]
        outcome = TRIAL.analyse(lantern, runs, IEC)
        assert outcome.verdict == "cannot tell yet"
        assert not outcome.judgements
        assert any(words in w for w in outcome.warnings), outcome.warnings

    def test_a_caesium_source_that_does_not_stand_out(self, make: Make, lantern: Counter) -> None:
        runs = [
            replace(e, pulses=make(lantern, 0.2, 600.0, seed=8).pulses)
            if e.counter.name == "Lantern" and e.run.sources == ("Cs-137",)
            else e
            for e in counted(make, lantern, 1.6)
        ]
        outcome = TRIAL.analyse(lantern, runs, IEC)
        assert outcome.verdict == "cannot tell yet"
        assert any("does not rise above" in w for w in outcome.warnings)

    def test_nothing_counted_of_the_other_source(self, make: Make, lantern: Counter) -> None:
        runs = counted(make, lantern, 1.6)
        silent = make(
            lantern, 0.0, 10.0, count=0, sources=("Ba-133",), nuclides=("Ba-133",),
            distance_mm=100.0,
        )  # fmt: skip
        runs = [
            silent if e.run.sources == ("Ba-133",) and e.counter == lantern else e for e in runs
        ]
        outcome = TRIAL.analyse(lantern, runs, IEC)
        found = outcome.judgements[0].measured
        assert found.low < 0.0 <= found.high < 0.2
        assert outcome.verdict == "not met"
        # ten minutes of silence where 120 counts of background belong: no response, a fault
        stopped = replace(
            silent, run=silent.run.model_copy(update={"duration_s": 600.0}),
            pulses=make(lantern, 0.0, 600.0, count=0).pulses,
        )  # fmt: skip
        outcome = TRIAL.analyse(lantern, [stopped if e is silent else e for e in runs], IEC)
        assert outcome.verdict == "cannot tell yet"
        assert any("fewer counts than at background" in w for w in outcome.warnings)

    def test_betas_that_were_not_stopped(self, make: Make, lantern: Counter) -> None:
        runs = [*counted(make, lantern, 1.6)]
        open_salt = make(
            lantern, 3.0, 600.0, sources=("salt",), nuclides=("K-40",), distance_mm=20.0
        )
        runs.append(replace(open_salt, expected_usv_h=normal(0.5, 0.05, "µSv/h")))
        outcome = TRIAL.analyse(lantern, runs, IEC)
        assert any("betas were not stopped" in w for w in outcome.warnings)


def test_the_plan_names_each_source(lantern: Counter, wren: Counter) -> None:
    plan = TRIAL.plan(Ask(lantern, (wren,), ("caesium disc", "barium disc")))
    assert len(plan.runs) == 6
    assert plan.total_minutes > 0.0
