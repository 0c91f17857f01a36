"""Dead time from two sources measured one by one and together.

Knoll's solution with background (Radiation Detection and Measurement, ch. 4 VII, from memory),
non-paralysable, from observed rates m₁, m₂, m₁₂ and m_b::

    X = m₁m₂ - m_b m₁₂
    Y = m₁m₂(m₁₂ + m_b) - m_b m₁₂(m₁ + m₂)
    Z = Y (m₁ + m₂ - m₁₂ - m_b)/X²           τ = X (1 - √(1-Z))/Y

For the paralysable model n₁ + n₂ = n₁₂ + n_b is solved numerically. The method takes a small
difference of large numbers: the uncertainty decides whether anything was resolved.

Zero counts: a background of 0 is allowed (its variance is that of one count); a source of 0 counts
is refused.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

import numpy as np
from scipy.special import ndtri

from counterproof.counting.checks import Floats, checked_counts, checked_coverage, checked_live
from counterproof.counting.deadtime import (
    DeadTime,
    non_paralysable,
    paralysable,
    true_rate,
    variance_ratio,
)
from counterproof.errors import UserError
from counterproof.quantities import Estimate
from counterproof.texts import text

Model = Literal["non-paralysable", "paralysable"]


@dataclass(frozen=True, slots=True)
class TwoSources:
    """Dead time from two sources.

    Args:
        tau: dead time in seconds; its interval may reach below 0.
        resolved: whether the interval excludes 0.
        warning: what to do about it if not; empty otherwise.
    """

    tau: Estimate
    resolved: bool
    warning: str


def two_source_tau(
    m1: float, m2: float, m12: float, mb: float = 0.0, model: Model = "non-paralysable"
) -> float:
    """Dead time in seconds from four observed rates in 1/s (background 0 if left out).

    Negative if the combined rate exceeds the sum, which only chance or a moved source can do.

    Raises:
        UserError: if no dead time explains the rates or a source rate is 0.
    """
    if min(m1, m2, m12) <= 0.0 or mb < 0.0:
        raise UserError(text("counting.no_solution"))
    if model == "paralysable":
        return _paralysable_tau(m1, m2, m12, mb)
    if m12 <= max(m1, m2):
        raise UserError(text("counting.no_solution"))
    x = m1 * m2 - mb * m12
    y = m1 * m2 * (m12 + mb) - mb * m12 * (m1 + m2)
    if x == 0.0 or y == 0.0:
        raise UserError(text("counting.no_solution"))
    z = y * (m1 + m2 - m12 - mb) / x**2
    if z > 1.0:
        raise UserError(text("counting.no_solution"))
    return float(x * (1.0 - np.sqrt(1.0 - z)) / y)


def dead_time_from_two_sources(
    counts: tuple[float, float, float, float],
    live_s: tuple[float, float, float, float],
    model: Model = "non-paralysable",
    coverage: float = 0.95,
) -> TwoSources:
    """Dead time from counts of source 1, source 2, both together, and neither.

    The four counting uncertainties (narrowed by the dead time itself) are propagated by
    numerical derivatives.

    Args:
        counts: counts of source 1, source 2, both, background.
        live_s: their counting times in seconds.
        model: which dead-time model.
        coverage: nominal coverage of the interval.

    Raises:
        UserError: if no dead time explains the counts, or for bad input.
    """
    n, t = checked_counts(counts), checked_live(live_s)
    m = n / t

    def tau_of(rates: Floats) -> float:
        m1, m2, m12, mb = rates.tolist()
        return two_source_tau(m1, m2, m12, mb, model)

    value = tau_of(m)
    tau = max(value, 0.0)
    dead: DeadTime = non_paralysable(tau) if model == "non-paralysable" else paralysable(tau)
    u = np.sqrt(np.maximum(n, 1.0) * variance_ratio(m, dead)) / t
    total = 0.0
    for i in range(4):
        step = np.zeros(4)
        step[i] = 0.1 * u[i]
        up, down = m + step, np.maximum(m - step, 0.0)
        slope = (tau_of(up) - tau_of(down)) / (up[i] - down[i])
        total += (slope * u[i]) ** 2
    tau_u = float(np.sqrt(total))
    reach = float(ndtri(0.5 + checked_coverage(coverage) / 2.0)) * tau_u
    resolved = value - reach > 0.0
    estimate = Estimate(
        value,
        tau_u,
        value - reach,
        value + reach,
        coverage,
        "s",
        float(n.sum()),
        f"two sources, {model}",
    )
    return TwoSources(estimate, resolved, "" if resolved else text("counting.not_resolved"))


def _paralysable_tau(m1: float, m2: float, m12: float, mb: float) -> float:
    """Root of n₁ + n₂ - n₁₂ - n_b in τ; linear about 0 where the sum rule gives a negative one."""

    def excess(tau: float) -> float:
        n = true_rate([m1, m2, m12, mb], paralysable(tau))
        return float(n[0] + n[1] - n[2] - n[3])

    if excess(0.0) <= 0.0:
        return (m1 + m2 - m12 - mb) / (m12**2 + mb**2 - m1**2 - m2**2)
    low, high = 0.0, (1.0 - 1e-12) / (np.e * max(m1, m2, m12))
    if excess(high) > 0.0:
        raise UserError(text("counting.no_solution"))
    for _ in range(80):
        middle = 0.5 * (low + high)
        if excess(middle) > 0.0:
            low = middle
        else:
            high = middle
    return 0.5 * (low + high)
