"""Do the counts scatter as Poisson counts should? Read on both tails, with the power.

Index of dispersion test: χ² = Σ (nᵢ - eᵢ)²/eᵢ with eᵢ = N tᵢ/T and k - 1 degrees of freedom. Given
the total N the counts are multinomial; for pᵢ = tᵢ/T the exact mean of χ² is k - 1 and its exact
variance (Haldane, Biometrika 29 (1937) 133)::

    V = 2(k-1) + (Σ 1/pᵢ - k² - 2k + 2) / N

A gamma distribution with that mean and variance gives the tails, so few counts per interval do
not spoil them as they spoil the plain χ² table.

Too large: interference, double pulses, an unstable voltage, a rate that drifts. Too small: a
firmware that smooths, a dead time. Zero counts in every interval leave nothing to test and are
refused; zero counts in some are fine.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

import numpy as np
from numpy.typing import ArrayLike
from scipy.special import gammainc, gammaincc, gammainccinv, gammaincinv

from counterproof.counting.checks import (
    checked_counts,
    checked_coverage,
    checked_live,
    checked_size,
)
from counterproof.errors import UserError
from counterproof.texts import text

Scatter = Literal["as Poisson", "too scattered", "too regular"]


@dataclass(frozen=True, slots=True)
class Dispersion:
    """Outcome of the index of dispersion test.

    Args:
        intervals: how many intervals, k.
        counts: total counts N.
        mean: counts per interval.
        variance: sample variance s² (divisor k - 1); of no use with unequal intervals.
        chi2: the statistic.
        dof: k - 1.
        index: χ²/(k-1), the index of dispersion: 1 for Poisson counts.
        p_over: probability of a χ² at least as large (too scattered).
        p_under: probability of a χ² at least as small (too regular).
        p_value: two-sided, twice the smaller.
        scatter: the verdict at ``alpha``.
        alpha: two-sided level of the verdict.
        seen_over: index above 1 that this run would have called too scattered with ``power``.
        seen_under: index below 1 that it would have called too regular with ``power``.
        power: that probability.
    """

    intervals: int
    counts: float
    mean: float
    variance: float
    chi2: float
    dof: int
    index: float
    p_over: float
    p_under: float
    p_value: float
    scatter: Scatter
    alpha: float
    seen_over: float
    seen_under: float
    power: float


def dispersion_test(
    counts: ArrayLike,
    durations_s: ArrayLike | None = None,
    *,
    alpha: float = 0.05,
    power: float = 0.8,
) -> Dispersion:
    """Index of dispersion test of counts in intervals of equal or unequal length.

    Args:
        counts: counts per interval, shape (k,), k ≥ 2.
        durations_s: interval lengths in seconds, shape (k,); equal when left out.
        alpha: two-sided level of the verdict.
        power: probability with which ``seen_over`` and ``seen_under`` would have been noticed.

    Raises:
        UserError: for fewer than two intervals, no counts at all, or bad input.
    """
    n = checked_counts(counts).ravel()
    checked_size(n, 2, "intervals")
    t = np.ones_like(n) if durations_s is None else checked_live(durations_s).ravel()
    if t.size != n.size:
        raise UserError(
            text("counting.lengths", what="counts and durations", first=n.size, second=t.size)
        )
    total = float(n.sum())
    if total == 0.0:
        raise UserError(text("counting.too_few", what="counts", needed=1, given=0))
    share = t / t.sum()
    expected = total * share
    chi2 = float(((n - expected) ** 2 / expected).sum())
    k, dof = n.size, n.size - 1
    spread = 2.0 * dof + (float((1.0 / share).sum()) - k * k - 2.0 * k + 2.0) / total
    spread = max(spread, 1e-12)  # one count in two intervals: the statistic cannot vary
    shape, scale = dof**2 / spread, spread / dof
    over = float(gammaincc(shape, chi2 / scale))
    under = float(gammainc(shape, chi2 / scale))
    p = min(1.0, 2.0 * min(over, under))
    tail = checked_coverage(alpha) / 2.0
    checked_coverage(power)
    seen_over = float(gammainccinv(shape, tail) / gammainccinv(shape, power))
    seen_under = float(gammaincinv(shape, tail) / gammaincinv(shape, power))
    scatter: Scatter = "as Poisson"
    if p < alpha:
        scatter = "too scattered" if over < under else "too regular"
    return Dispersion(
        k,
        total,
        total / k,
        float(n.var(ddof=1)),
        chi2,
        dof,
        chi2 / dof,
        over,
        under,
        p,
        scatter,
        alpha,
        seen_over,
        seen_under,
        power,
    )
