"""Sensitivity from simulated ladders, the menu's best step, and a budget in per cent."""

import numpy as np
import pytest

from counterproof.calibration.ladder_fit import Ladder, Prior, fit_ladder
from counterproof.readout.menu import best_step
from counterproof.quantities.budget import Budget, Component

D = np.array([100.0, 150.0, 220.0, 320.0, 450.0])
T = np.full(5, 600.0)
PRIORS = {
    "offset_mm": Prior(4.0, 2.0),
    "scatter": Prior(0.04, 0.015),
    "source": Prior(0.0, 0.02),
    "dead_time_s": Prior(1e-4, 2e-5),
}


def _run(trials: int, fixed: str = "") -> tuple[float, float]:
    rng = np.random.default_rng(20)
    used = {k: Prior(v.value) if k == fixed else v for k, v in PRIORS.items()}
    logs, hits = [], 0
    for _ in range(trials):
        o, f, a, tau = (rng.normal(p.value, p.u) for p in PRIORS.values())
        rate = 2.5 * np.exp(a) * 10.0 * ((100.0 / (D + o)) ** 2 + f) + 0.4
        n = rng.poisson(rate / (1 + rate * tau) * T).astype(float)
        b = 0.4 / (1 + 0.4 * tau)
        s = fit_ladder(
            Ladder(D, n, T, float(rng.poisson(b * 1800)), 1800.0, 10.0, 100.0), **used
        ).sensitivity
        logs.append(s.value / 2.5 - 1.0)
        hits += s.low <= 2.5 <= s.high
    return float(np.mean(logs)), hits / trials


def test_unbiased_and_covering() -> None:
    # bars: 0.3 % and 93-97 %, both of 1000 seeded simulations
    bias, coverage = _run(1000)
    assert abs(bias) < 0.003
    assert 0.93 <= coverage <= 0.97


@pytest.mark.parametrize("fixed", ["source", "offset_mm"])
def test_leaving_a_nuisance_out_fails(fixed: str) -> None:
    assert _run(300, fixed)[1] < 0.90


def test_menu() -> None:
    # arithmetic by hand: reads 1.5 times too much at 100, so 150 mends it; step 20 offers 140, 160
    best = best_step(
        np.array([0.2, 1.0]),
        np.array([0.3, 1.5]),
        np.array([False, True]),
        present=100.0,
        low=20.0,
        high=400.0,
        step=20.0,
    )
    assert best.value == 160.0
    assert best.remaining == pytest.approx([0.5, 0.9375 - 1.0])


def test_budget_in_per_cent() -> None:
    # arithmetic of JCGM 100:2008, equation 11a, and 4.3.7 for the rectangular ones
    budget = Budget(
        100.0,
        (
            Component("reference", u=2.5),
            Component(
                "distance",
                half_width=2.0,
                distribution="rectangular",
                sensitivity=2 / 3.0,
            ),
            Component("counts", u=2.236, kind="A"),
            Component("background", u=0.5, kind="A"),
            Component("resolution", u=0.289),
            Component("scatter", half_width=3.0, distribution="rectangular"),
            Component("positioning", u=1.0),
            Component("decay", u=0.1),
        ),
    )
    assert budget.u == pytest.approx(4.023, abs=0.001)
    assert budget.expanded(2.0) == pytest.approx(8.05, abs=0.01)
