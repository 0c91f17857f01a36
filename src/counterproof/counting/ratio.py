"""Ratio of two Poisson rates: exact limits and test, and the agreement of two counters.

Given the sum N = n₁ + n₂, the count n₁ is binomial with p = ρt₁/(ρt₁ + t₂), ρ = r₁/r₂
(Przyborowski & Wilenski, Biometrika 31 (1940) 313). Clopper–Pearson limits of p turn into exact
limits of ρ; the p value is the central one, twice the smaller tail, so that test and interval
agree. A common factor with uncertainty (a reference's calibration) is averaged over in the tails.

Zero counts: n₁ = 0 gives the ratio 0 with a finite upper limit, n₂ = 0 an infinite ratio with a
finite lower limit, both zero the interval from 0 to infinity and a value that is not a number.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np
from scipy.special import betainc, betaincinv

from counterproof.counting.checks import checked_counts, checked_coverage, checked_live
from counterproof.errors import UserError
from counterproof.quantities import Estimate
from counterproof.texts import text

_Z = np.linspace(-6.0, 6.0, 481)
_W = np.exp(-0.5 * _Z**2) / np.exp(-0.5 * _Z**2).sum()


@dataclass(frozen=True, slots=True)
class RatioTest:
    """A ratio of rates and the test of one value of it.

    Args:
        ratio: r₁/r₂ with its interval, no unit; ``counts`` is n₁ + n₂.
        null: the ratio that was tested.
        p_value: central two-sided p value of ``null``.
    """

    ratio: Estimate
    null: float
    p_value: float


def rate_ratio(
    counts_1: float,
    live_1_s: float,
    counts_2: float,
    live_2_s: float,
    *,
    null: float = 1.0,
    factor_u_rel: float = 0.0,
    coverage: float = 0.95,
) -> RatioTest:
    """Ratio of two rates with different live times; exact when ``factor_u_rel`` is 0.

    Zero counts: see the module's head.

    Args:
        counts_1: counts of the numerator.
        live_1_s: its live time in seconds.
        counts_2: counts of the denominator.
        live_2_s: its live time in seconds.
        null: ratio to be tested, above 0.
        factor_u_rel: relative standard uncertainty of a factor between the two that counting
            does not reduce (a reference's calibration, a position); taken as log-normal.
        coverage: claimed coverage.

    Returns:
        The ratio with its interval and the p value of ``null``.

    Raises:
        UserError: for negative counts, live times that are not positive, or bad probabilities.
    """
    n1, n2 = float(checked_counts(counts_1)), float(checked_counts(counts_2))
    t1, t2 = float(checked_live(live_1_s)), float(checked_live(live_2_s))
    tail = (1.0 - checked_coverage(coverage)) / 2.0
    if not (np.isfinite(factor_u_rel) and factor_u_rel >= 0.0 and null > 0.0):
        raise UserError(text("counting.factor", factor=null, u=factor_u_rel))
    spread, weight = (
        (np.exp(_Z * factor_u_rel), _W) if factor_u_rel > 0 else (np.ones(1), np.ones(1))
    )

    def share(ratio: float) -> np.ndarray[tuple[int], np.dtype[np.float64]]:
        scaled = ratio * spread * (t1 / t2)
        return np.asarray(scaled / (1.0 + scaled), dtype=np.float64)

    def at_least(ratio: float) -> float:
        """P(N₁ ≥ n₁) at this ratio."""
        return float(weight @ betainc(n1, n2 + 1.0, share(ratio))) if n1 > 0 else 1.0

    def at_most(ratio: float) -> float:
        """P(N₁ ≤ n₁) at this ratio."""
        return float(weight @ (1.0 - betainc(n1 + 1.0, n2, share(ratio)))) if n2 > 0 else 1.0

    value = np.inf if n2 == 0 else (n1 / t1) / (n2 / t2)
    if n1 == n2 == 0:
        value = np.nan
    if factor_u_rel == 0.0:
        low = _odds(float(betaincinv(n1, n2 + 1.0, tail))) * t2 / t1 if n1 > 0 else 0.0
        high = _odds(float(betaincinv(n1 + 1.0, n2, 1.0 - tail))) * t2 / t1 if n2 > 0 else np.inf
        method = "exact conditional binomial limits"
    else:
        middle = (n1 + 0.5) / (n2 + 0.5) * t2 / t1
        low = _crossing(lambda r: at_least(r) - tail, middle) if n1 > 0 else 0.0
        high = _crossing(lambda r: tail - at_most(r), middle) if n2 > 0 else np.inf
        method = "conditional binomial limits averaged over the factor's uncertainty"
    u = value * np.sqrt(1.0 / n1 + 1.0 / n2 + factor_u_rel**2) if n1 > 0 and n2 > 0 else np.inf
    ratio = Estimate(float(value), float(u), low, high, coverage, "", n1 + n2, method)
    return RatioTest(ratio, null, min(1.0, 2.0 * min(at_least(null), at_most(null))))


def ratio_of(first: Estimate, second: Estimate) -> Estimate:
    """Ratio of two independent estimates from their own intervals (approximate).

    The method of variance estimates recovery (MOVER-R; Donner & Zou, Stat. Methods Med. Res. 21
    (2012) 347) for net or corrected rates, which no exact method covers. The true denominator is
    taken as positive. When its interval reaches 0, nothing bounds the ratio above and the upper
    end is ``inf`` (and the lower ``-inf`` if the numerator may be negative). A denominator of
    value 0 (zero counts) gives a value that is not a number, one that is surely negative no
    bounds at all.

    Raises:
        UserError: if the two claim different coverages.
    """
    if first.coverage != second.coverage:
        raise UserError(text("counting.coverage", coverage=second.coverage))
    a, la, ua = first.value, first.low, first.high
    b, lb, ub = second.value, second.low, second.high
    value, u = float("nan"), float("inf")
    if b != 0.0:
        value, u = a / b, float(np.hypot(first.u / b, a * second.u / b**2))
    counts = None if first.counts is None or second.counts is None else first.counts + second.counts
    if ub <= 0.0:
        low, high = -np.inf, np.inf
    elif lb <= 0.0:
        low, high = (_mover_low(a, la, b, ub) if la >= 0.0 else -np.inf), np.inf
    else:
        low = _mover_low(a, la, b, ub) if la >= 0.0 else -_mover_high(-a, -la, b, lb)
        high = _mover_high(a, ua, b, lb) if ua >= 0.0 else -_mover_low(-a, -ua, b, ub)
    method = "ratio by recovered variances"
    return Estimate(value, u, low, high, first.coverage, "", counts, method)


def _mover_low(a: float, la: float, b: float, ub: float) -> float:
    if not np.isfinite(ub):
        return 0.0
    root = np.sqrt(max(0.0, (a * b) ** 2 - la * ub * (2 * a - la) * (2 * b - ub)))
    divisor = ub * (2 * b - ub)
    if abs(divisor) < 1e-12 * b * b:
        return float(la * (2 * a - la) / (2 * a * b)) if a > 0.0 else 0.0
    return float((a * b - root) / divisor)


def _mover_high(a: float, ua: float, b: float, lb: float) -> float:
    if not np.isfinite(ua):
        return float("inf")
    root = np.sqrt(max(0.0, (a * b) ** 2 - ua * lb * (2 * a - ua) * (2 * b - lb)))
    return float((a * b + root) / (lb * (2 * b - lb)))


def _odds(p: float) -> float:
    return p / (1.0 - p) if p < 1.0 else float("inf")


def _crossing(rising: Callable[[float], float], start: float) -> float:
    """Root of a rising function of a positive ratio, by bisection of its logarithm."""
    low = high = np.log(start)
    while rising(np.exp(low)) > 0.0 and low > -700.0:
        low -= 1.0
    while rising(np.exp(high)) < 0.0 and high < 700.0:
        high += 1.0
    for _ in range(60):
        middle = 0.5 * (low + high)
        if rising(np.exp(middle)) >= 0.0:
            high = middle
        else:
            low = middle
    return float(np.exp(0.5 * (low + high)))
