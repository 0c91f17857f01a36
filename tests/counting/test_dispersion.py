"""Scatter of counts against Poisson's, on both tails."""

from __future__ import annotations

import csv
from pathlib import Path

import numpy as np
import pytest
from scipy import stats

from counterproof.counting.dispersion import dispersion_test
from counterproof.errors import UserError

DATA = Path(__file__).parents[1] / "data"


def column(name: str) -> list[int]:
    with (DATA / name).open(encoding="utf-8") as file:
        return [int(row["counts"]) for row in csv.DictReader(file)]


def test_a_text_books_counter_test() -> None:
    # the set is a text book's (from memory); figures computed independently, p from the χ² table
    got = dispersion_test([8, 5, 12, 10, 13, 7, 9, 10, 6, 11, 14, 8, 8, 3, 9, 12, 6, 10, 8, 7])
    assert got.mean == pytest.approx(8.8)
    assert got.variance == pytest.approx(7.7474, abs=5e-5)
    assert got.chi2 == pytest.approx(16.727, abs=5e-4)
    assert got.p_over == pytest.approx(0.608, abs=0.002)
    assert got.scatter == "as Poisson"


def test_twenty_real_counts() -> None:
    # the first twenty of the laboratory's high level (tests/data/README.md); computed independently
    got = dispersion_test(column("lab_high.csv")[:20])
    assert got.chi2 == pytest.approx(14.508, abs=5e-4)
    assert got.p_over == pytest.approx(0.753, abs=0.002)


@pytest.mark.parametrize(
    "name, total, variance, chi2",
    [("lab_low.csv", 624, 3.3222, 211.90), ("lab_high.csv", 23419, 99.704, 169.45)],
)
def test_real_laboratory_counts(name: str, total: int, variance: float, chi2: float) -> None:
    # 200 x 1 s with a Geiger-Müller tube, origin in tests/data/README.md
    got = dispersion_test(column(name))
    assert got.intervals == 200
    assert got.counts == total
    assert got.variance == pytest.approx(variance, abs=6e-4)
    assert got.chi2 == pytest.approx(chi2, abs=6e-3)
    # χ² with 199 degrees of freedom, two-sided: 0.50 and 0.13 (scipy)
    table = 2 * min(stats.chi2.sf(chi2, 199), stats.chi2.cdf(chi2, 199))
    assert got.p_value == pytest.approx(table, abs=0.01)
    assert got.scatter == "as Poisson"


def test_rutherford_and_geiger() -> None:
    # E. Rutherford & H. Geiger, Phil. Mag. 20 (1910) 698: alpha counts in 7.5 s
    with (DATA / "rutherford_geiger_1910.csv").open(encoding="utf-8") as file:
        rows = [(int(r["counts"]), int(r["intervals"])) for r in csv.DictReader(file)]
    counts = np.repeat([k for k, _ in rows], [f for _, f in rows])
    got = dispersion_test(counts)
    assert (got.intervals, got.counts) == (2608, 10097)
    assert got.mean == pytest.approx(3.8715, abs=5e-5)
    assert got.index == pytest.approx(0.955, abs=5e-4)
    assert got.p_under == pytest.approx(0.05, abs=0.01)
    assert got.scatter == "as Poisson"


def test_tails_have_their_size() -> None:
    rng = np.random.default_rng(11)
    for mean, size in ((3.0, 30), (100.0, 20)):
        tests = [dispersion_test(rng.poisson(mean, size)) for _ in range(2000)]
        # binomial 3 σ of 2000 trials at 5 % is 1.5 %
        assert np.mean([t.p_over < 0.05 for t in tests]) == pytest.approx(0.05, abs=0.015)
        assert np.mean([t.p_under < 0.05 for t in tests]) == pytest.approx(0.05, abs=0.015)


def test_tails_of_very_few_counts_accuse_nobody_wrongly() -> None:
    # 18 counts in 60 intervals: χ² takes few values, so the size may fall below 5 %, not exceed it
    rng = np.random.default_rng(11)
    tests = [dispersion_test(rng.poisson(0.3, 60)) for _ in range(2000)]
    assert 0.01 < np.mean([t.p_over < 0.05 for t in tests]) < 0.065
    assert 0.01 < np.mean([t.p_under < 0.05 for t in tests]) < 0.065


def test_unequal_intervals() -> None:
    rng = np.random.default_rng(12)
    durations = np.array([1.0, 2.0, 5.0, 10.0, 0.5] * 8)
    p = [dispersion_test(rng.poisson(4 * durations), durations).p_value for _ in range(1500)]
    assert stats.kstest(p, "uniform").pvalue > 1e-3
    same = dispersion_test([4, 5, 6], [2.0, 2.0, 2.0])
    assert same == dispersion_test([4, 5, 6])


def test_both_tails_are_named() -> None:
    rng = np.random.default_rng(13)
    wild = rng.poisson(30 * rng.gamma(20, 1 / 20, 100))  # index 2.5
    calm = np.full(100, 30) + rng.integers(-1, 2, 100)
    assert dispersion_test(wild).scatter == "too scattered"
    assert dispersion_test(calm).scatter == "too regular"


def test_the_stated_power_is_what_is_seen() -> None:
    rng = np.random.default_rng(14)
    plan = dispersion_test(rng.poisson(50, 40))
    spread = plan.seen_over - 1.0
    seen = [
        dispersion_test(rng.poisson(rng.gamma(50 / spread, spread, 40))).scatter == "too scattered"
        for _ in range(2000)
    ]
    # negative binomial counts are a little more skewed than the scaled χ² supposes
    assert np.mean(seen) == pytest.approx(0.8, abs=0.05)
    smooth = [
        dispersion_test(np.round(rng.normal(50, np.sqrt(50 * plan.seen_under), 40))).scatter
        == "too regular"
        for _ in range(2000)
    ]
    assert np.mean(smooth) == pytest.approx(0.8, abs=0.05)


@pytest.mark.parametrize(
    "arguments", [([5],), ([0, 0, 0],), ([3, -1],), ([3, 4], [1.0]), ([3, 4], [1.0, 0.0])]
)
def test_bad_input_gets_a_sentence(arguments: tuple[list[float], ...]) -> None:
    with pytest.raises(UserError):
        dispersion_test(*arguments)
