"""The display's factors from the counts behind its readings, and what that does to a fit."""

import math

import numpy as np
import pytest

from counterproof.calibration.behind import as_display, counts_behind
from counterproof.calibration.budget import budget
from counterproof.calibration.fit import fit
from counterproof.calibration.problem import Counted, Level, Prior, Problem


def pair(factors_cpm: tuple[float, float], switch: float, seed: int = 1) -> tuple[Problem, Problem]:
    """Levels of a source of 1.9 counts per second per µSv/h, as counted and as displayed."""
    rng = np.random.default_rng(seed)
    shown, counted = [], []
    for d, h in ((30.0, 3.7), (50.0, 1.34), (140.0, 0.17), (200.0, 0.084)):
        n = float(rng.poisson(300 * 1.9 * (h + 0.1)))
        cps = n / 300.0
        k = factors_cpm[cps * 60.0 / factors_cpm[0] >= switch]
        reading = 60.0 * cps / k * math.exp(rng.normal(0.0, 0.01))
        shown.append(Level(f"{d:g}", Counted(n, n / reading, cps / reading), d, 0.5, "disc", h))
        counted.append(Level(f"{d:g}", Counted(n, 300.0), d, 0.5, "disc", h))
    known, offset = {"disc": Prior(0.0, 0.05)}, Prior(0.0, 1.0)
    n = float(rng.poisson(1800 * 0.19))
    reading = 60.0 * n / 1800.0 / factors_cpm[0]
    return (
        Problem(tuple(shown), Counted(n, n / reading, n / 1800.0 / reading), known,
                offset_mm=offset, unit="µSv/h"),
        Problem(tuple(counted), Counted(n, 1800.0), known, offset_mm=offset),
    )  # fmt: skip


def test_two_factors_are_read_from_the_counts() -> None:
    display, counts = pair((110.0, 190.0), 0.6)
    behind = counts_behind(display, counts, 40.0, 0.01)
    assert behind is not None
    low, high = (60.0 * math.exp(k) for k in behind.ln_k)
    assert low == pytest.approx(110.0, rel=4 * behind.u[0])
    assert high == pytest.approx(190.0, rel=4 * behind.u[1])
    assert max(behind.u) < 0.04
    assert 0.3 < behind.switch < 0.9


def test_one_factor_stays_one() -> None:
    for seed in range(30):
        display, counts = pair((110.0, 110.0), 0.6, seed)
        behind = counts_behind(display, counts, 40.0, 0.01)
        assert behind is not None
        assert len(behind.ln_k) == 1


def test_the_fit_of_the_counts_becomes_one_of_the_display() -> None:
    # response = S/K and u² = u²(S) + u²(K): GUM, equation 10, for a quotient
    display, counts = pair((110.0, 190.0), 0.6)
    behind = counts_behind(display, counts, 40.0, 0.01)
    assert behind is not None
    counted = fit(counts)
    found, weighed = as_display(counted, display, behind)
    s, u_s = counted.ln_s()
    for number in (0, 1):
        ln, u = found.ln_s(number)
        assert ln == pytest.approx(s - behind.ln_k[number])
        assert u == pytest.approx(math.hypot(u_s, behind.u[number]))
        table = budget(found, found.weights(number))
        assert table.u_percent == pytest.approx(100 * u)
        row = next(r for r in table.rows if r.name == "counts behind a reading")
        assert row.contribution_percent == pytest.approx(100 * behind.u[number])
    assert [w.model for w in weighed] == ["one factor", "two factors"]
    assert weighed[1].log_odds > 10


def test_levels_without_both_signals_are_left_to_the_display() -> None:
    display, counts = pair((110.0, 190.0), 0.6)
    fewer = Problem(counts.levels[:-1], counts.background, counts.sources)
    assert counts_behind(display, fewer, 40.0, 0.01) is None
