"""Distance ladders."""

from __future__ import annotations

import numpy as np
import pytest
from scipy.optimize import curve_fit

from counterproof.counting.deadtime import non_paralysable, observed_rate
from counterproof.counting.distance import fit_distance
from counterproof.errors import UserError


def weighted_least_squares(
    d: list[float], counts: list[float], t: np.ndarray, background: float, background_s: float
) -> tuple[np.ndarray, np.ndarray, float]:
    """The usual text-book fit by scipy: net rates, background's variance added to each point."""
    x, n = np.array(d, dtype=float), np.array(counts, dtype=float)
    net = n / t - background / background_s
    sigma = np.sqrt(n / t**2 + background / background_s**2)

    def law(x: np.ndarray, k: float, offset: float) -> np.ndarray:
        return k / (x + offset) ** 2

    p, cov = curve_fit(law, x, net, [net[0] * x[0] ** 2, 0.0], sigma=sigma, absolute_sigma=True)
    return p, np.sqrt(np.diag(cov)), float((((net - law(x, *p)) / sigma) ** 2).sum())


def test_a_laboratorys_ladder() -> None:
    # real counts, cm and s: public course repository catacisneros/PHY3802L_Fall2025,
    # Counting_Statistics/Distance_Counts.data; the background of 120 in 300 s is assumed
    d, n = [10.0, 15, 22, 26, 29, 32], [227.0, 209, 202, 200, 202, 199]
    t = np.array([20.0, 30, 65, 90, 119, 130])
    p, u, chi2 = weighted_least_squares(d, n, t, 120, 300)
    # k 1262 ± 103, d0 0.38 ± 0.65, χ² 10.4 (computed independently by weighted least squares)
    assert (p[0], u[0]) == pytest.approx((1262, 103), abs=0.5)
    assert (p[1], u[1]) == pytest.approx((0.38, 0.65), abs=0.005)
    assert chi2 == pytest.approx(10.4, abs=0.05)
    # ours weighs by the expected, not the observed, counts and shares one background between
    # the points: near the other, well within the uncertainty
    got = fit_distance(d, n, t, 120, 300, distance_unit="cm")
    assert got.k.value == pytest.approx(p[0], abs=0.2 * u[0])
    assert got.k.u == pytest.approx(u[0], rel=0.1)
    assert got.offset.value == pytest.approx(p[1], abs=0.2 * u[1])
    assert got.offset.u == pytest.approx(u[1], rel=0.1)
    assert got.fit.dof == 4
    assert got.fit.chi2 == pytest.approx(chi2, rel=0.1)
    assert not got.fit.misfit  # p = 0.02: to be noticed, not flagged at 1 %


def test_a_ladder_that_is_none_is_flagged() -> None:
    # mm, 60 s each, background 37: d0 10.16 mm, χ² 52.8 with 4 degrees of freedom (source of the
    # counts from memory: a student laboratory's; fit computed independently)
    d, n = [6.35, 12.7, 19.05, 25.4, 31.75, 38.1], [4004.0, 2482, 1339, 831, 668, 487]
    p, _, chi2 = weighted_least_squares(d, n, np.full(6, 60.0), 37, 60)
    # the printed 10.16 and 52.8 are rounded; the same fit gives 10.17 and 52.7
    assert p[1] == pytest.approx(10.16, abs=0.02)
    assert chi2 == pytest.approx(52.8, abs=0.15)
    got = fit_distance(d, n, 60.0, 37, 60.0)
    assert got.offset.value == pytest.approx(p[1], abs=0.3)
    assert got.fit.chi2 == pytest.approx(chi2, rel=0.1)
    assert got.fit.misfit


def test_ladder_with_dead_time() -> None:
    rng = np.random.default_rng(41)
    d = np.array([20.0, 30, 50, 80, 120, 200, 300])
    tau, inside, offsets = 2e-4, [], []
    for _ in range(60):
        true = 2e6 / (d + 9.0) ** 2 + 0.4
        counts = rng.poisson(120 * observed_rate(true, non_paralysable(tau)))
        got = fit_distance(d, counts, 120.0, rng.poisson(0.4 * 600), 600.0, fit_dead_time=True)
        assert got.tau is not None
        inside.append(got.tau.low <= tau <= got.tau.high)
        offsets.append(got.offset.value)
    # counts drawn as Poisson scatter more than dead time allows, the intervals suppose less
    assert np.mean(inside) > 0.75
    assert np.mean(offsets) == pytest.approx(9.0, abs=0.3)
    known = fit_distance(d, counts, 120.0, 240, 600.0, dead=non_paralysable(tau))
    assert known.offset.value == pytest.approx(9.0, abs=0.5)
    assert fit_distance(d, counts, 120.0, 240, 600.0).fit.misfit


def test_uncertain_distances_widen() -> None:
    arguments = ([10.0, 20, 40, 80], [4000, 1020, 260, 70], 60.0, 0, 60.0)
    sure, unsure = fit_distance(*arguments), fit_distance(*arguments, distance_u=1.0)
    assert unsure.offset.u > 3 * sure.offset.u


def test_bad_input_gets_a_sentence() -> None:
    with pytest.raises(UserError):
        fit_distance([10.0], [100], 60.0, 5, 60.0)
    with pytest.raises(UserError):
        fit_distance([10.0, 20.0], [100], 60.0, 5, 60.0)
