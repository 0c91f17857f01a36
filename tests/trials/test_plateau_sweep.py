"""The plateau trial: sweeps with known answers, and sweeps that do not suffice."""

import numpy as np
import pytest

from counterproof.records import Measured, Outcome
from counterproof.trials.criteria import profile
from counterproof.trials.plateau_sweep import TRIAL
from counterproof.trials.shape import Ask, Counter, Evidence
from tests.trials.conftest import Make

GRADE = profile("grade_b")
CS = {"sources": ("caesium disc",), "nuclides": ("Cs-137",), "distance_mm": 50.0}


def sweep(
    lantern: Counter, make: Make, volts: list[float], counts: list[int], seconds: float = 60.0
) -> list[Evidence]:
    return [
        make(lantern, 0.0, seconds, count=n, conditions={"voltage_v": v}, **CS)
        for v, n in zip(volts, counts, strict=True)
    ]


def value(outcome: Outcome, key: str) -> float:
    found = outcome.table[0].values[key]
    found = found.value if isinstance(found, Measured) else found
    assert isinstance(found, float)
    return found


def test_a_textbook_sweep(lantern: Counter, make: Make) -> None:
    # counts from memory of a textbook's exercise; plateau 550…700 V and 2.740 %/100 V follow from
    # slope = 100 (N2 - N1)/N1 · 100/(V2 - V1) on net counts
    volts = [400.0, 450.0, 500.0, 550.0, 600.0, 650.0, 700.0, 750.0]
    runs = sweep(lantern, make, volts, [42, 310, 443, 456, 462, 468, 474, 520])
    background = make(lantern, 0.0, 60.0, count=18)
    outcome = TRIAL.analyse(lantern, [*runs, background], profile("grade_a"))
    assert value(outcome, "upper end in V") == 700.0
    assert value(outcome, "lower end in V") == 550.0
    assert value(outcome, "midpoint in V") == 625.0
    assert value(outcome, "slope between the ends") == pytest.approx(2.740, abs=5e-4)
    # 456 counts cannot hold a slope to 5 %/100 V: the honest verdict is open
    slope = outcome.judgements[0]
    assert slope.verdict == "cannot tell yet"
    assert slope.more_minutes is not None
    assert slope.more_minutes > 5
    assert outcome.judgements[1].verdict == "met"  # 150 V of at least 80 V
    # the background may note the voltage that it was taken at
    noted = make(lantern, 0.0, 60.0, count=18, conditions={"voltage_v": 600.0})
    again = TRIAL.analyse(lantern, [*runs, noted], profile("grade_a"))
    assert value(again, "slope between the ends") == pytest.approx(2.740, abs=5e-4)


def test_a_long_sweep_that_slopes(lantern: Counter, make: Make) -> None:
    # counts of a public course log (pedrocurvo/LFEA), which gives 4.86 ± 0.63 %/100 V at 1000 V
    # over all points; the outermost segments, steeper than the limit, are taken off here, so the
    # points left are fitted again with numpy
    volts = [800.0 + 25.0 * i for i in range(17)]
    counts = [875, 900, 901, 921, 942, 903, 901, 963, 1047, 1003, 1011, 1016]
    counts += [1035, 1034, 1015, 1040, 1076]
    outcome = TRIAL.analyse(lantern, sweep(lantern, make, volts, counts), GRADE)
    slope = outcome.judgements[0].measured
    assert (value(outcome, "lower end in V"), value(outcome, "upper end in V")) == (825.0, 1175.0)
    v, n = np.array(volts[1:-1]), np.array(counts[1:-1], dtype=float)
    line = np.polyfit(v - 1000.0, n, 1, w=1.0 / np.sqrt(n))
    assert slope.value == pytest.approx(1e4 * line[0] / line[1], abs=0.01)
    assert slope.low is not None
    assert slope.high is not None
    assert slope.low < 4.86 < slope.high
    assert outcome.judgements[0].verdict == "met"
    assert value(outcome, "working point in V") == pytest.approx(956.25)
    assert any("no background" in w for w in outcome.warnings)


def test_rates_that_fall_are_never_called_good(lantern: Counter, make: Make) -> None:
    # the shape of a real sweep that rises and then falls (from memory)
    volts = [330.0, 343, 355, 368, 380, 398, 410, 423, 485, 510, 590, 640]
    counts = [1140, 1161, 1177, 1191, 1206, 1202, 1224, 1219, 1202, 1184, 1142, 1072]
    outcome = TRIAL.analyse(lantern, sweep(lantern, make, volts, counts), GRADE)
    assert outcome.verdict != "met"
    tenfold = TRIAL.analyse(lantern, sweep(lantern, make, volts, [10 * n for n in counts]), GRADE)
    assert tenfold.verdict == "not met"
    assert any("falls with rising voltage" in w for w in tenfold.warnings)
    assert "working point in V" not in tenfold.table[0].values


def test_repeats_that_cannot_be_chance_are_left_out_with_a_reason(
    lantern: Counter, make: Make
) -> None:
    volts = [400.0, 450, 450, 500, 550, 600]
    outcome = TRIAL.analyse(
        lantern, sweep(lantern, make, volts, [540, 549, 1, 552, 556, 560]), GRADE
    )
    assert any("450" in w and "549, 1" in w for w in outcome.warnings)


class TestInsufficient:
    """Runs that do not suffice say what is missing and give no verdict."""

    def test_no_voltages(self, lantern: Counter, make: Make) -> None:
        runs = [make(lantern, 5.0, 60.0, **CS)]
        assert not TRIAL.serves(lantern, runs)
        self.refused(TRIAL.analyse(lantern, runs, GRADE), "only 0 voltages")

    def test_too_few(self, lantern: Counter, make: Make) -> None:
        runs = sweep(lantern, make, [400.0, 450.0, 500.0], [400, 410, 420])
        self.refused(TRIAL.analyse(lantern, runs, GRADE), "only 3 voltages")

    def test_no_counts(self, lantern: Counter, make: Make) -> None:
        runs = [
            make(lantern, 0.0, 60.0, pulses=False, conditions={"voltage_v": v}, **CS)
            for v in (400.0, 450.0, 500.0, 550.0)
        ]
        self.refused(TRIAL.analyse(lantern, runs, GRADE), "4 runs of the sweep have no counts")

    def test_a_source_that_was_moved(self, lantern: Counter, make: Make) -> None:
        runs = sweep(lantern, make, [400.0, 450.0, 500.0, 550.0], [400, 410, 420, 430])
        near = {**CS, "distance_mm": 20.0}
        runs.append(make(lantern, 0.0, 60.0, count=900, conditions={"voltage_v": 600.0}, **near))
        self.refused(TRIAL.analyse(lantern, runs, GRADE), "differ in source or place")

    def test_nothing_but_silence(self, lantern: Counter, make: Make) -> None:
        runs = sweep(lantern, make, [400.0, 450.0, 500.0, 550.0], [0, 0, 0, 0])
        outcome = TRIAL.analyse(lantern, runs, GRADE)
        assert outcome.verdict == "cannot tell yet"
        assert "No plateau" in outcome.statement

    @staticmethod
    def refused(outcome: Outcome, missing: str) -> None:
        assert outcome.verdict == "cannot tell yet"
        assert not outcome.judgements
        assert any(missing in w for w in outcome.warnings), outcome.warnings


def test_the_plan_has_cautions(lantern: Counter) -> None:
    plan = TRIAL.plan(Ask(lantern, (), ("caesium disc",)))
    assert any("volts" in c for c in plan.cautions)
    assert len(plan.runs) == 13
