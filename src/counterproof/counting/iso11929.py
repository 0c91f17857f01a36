"""Decision threshold, detection limit and coverage interval after ISO 11929-1.

The measurand is y = w (r_g - r_0). With u²(y) = w² [u²(r_g) + u²(r_0)] + y² u²_rel(w), and ũ(ỹ)
the uncertainty that would be met if the true value were ỹ::

    decision threshold  y* = k(1-α) ũ(0)
    detection limit     y# = y* + k(1-β) ũ(y#)
    best estimate       ŷ  = y + u φ(y/u)/ω,    ω = Φ(y/u),   u²(ŷ) = u² - (ŷ - y) ŷ
    coverage interval   y - k(p) u … y + k(q) u,  p = ω(1-γ/2),  q = 1 - ωγ/2

The interval and best estimate are those of a normal posterior cut off at 0 (a measurand that
cannot be negative). Equations as in ISO 11929-1:2019, quoted from memory.

What a gross or blank indication is decides its variance; each constructor names one definition.
Zero counts: the standard leaves the variance of zero counts to the user; here it is that of one
count, so that a blank of zero never makes the decision threshold zero.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from scipy.special import ndtr, ndtri

from counterproof.counting.checks import checked_counts, checked_coverage, checked_live
from counterproof.errors import UserError
from counterproof.quantities import Estimate
from counterproof.texts import text


@dataclass(frozen=True, slots=True)
class Indication:
    """A rate and how its variance depends on what the true rate is.

    u²(r) = fixed + linear·r + square·r²; build one with :func:`counted`, :func:`known`,
    :func:`preset_count`, :func:`ratemeter` or :func:`repeated`.

    Args:
        rate_per_s: the indication in 1/s.
        fixed: variance that does not depend on the rate, 1/s².
        linear: 1/(counting time), 1/s.
        square: relative variance.
        least: smallest variance it may claim for its own indication (zero counts), 1/s².
    """

    rate_per_s: float
    fixed: float = 0.0
    linear: float = 0.0
    square: float = 0.0
    least: float = 0.0

    def variance_at(self, rate_per_s: float) -> float:
        """Variance in 1/s² that the same measurement would have at another true rate."""
        r = max(rate_per_s, 0.0)
        return max(self.fixed + self.linear * r + self.square * r * r, self.least)

    @property
    def variance(self) -> float:
        """Variance of the indication itself in 1/s²."""
        return self.variance_at(self.rate_per_s)


def counted(counts: float, live_s: float) -> Indication:
    """Counts in a preset time: u² = r/t; for zero counts u = 1/t."""
    n, t = float(checked_counts(counts)), float(checked_live(live_s))
    return Indication(n / t, linear=1.0 / t, least=1.0 / t**2)


def known(rate_per_s: float, u_per_s: float = 0.0) -> Indication:
    """A rate from elsewhere with its own uncertainty; a known blank has u = 0."""
    if not (np.isfinite(rate_per_s) and rate_per_s >= 0 and np.isfinite(u_per_s) and u_per_s >= 0):
        raise UserError(text("counting.iso_variance", rate=rate_per_s, u=u_per_s))
    return Indication(rate_per_s, fixed=u_per_s**2)


def preset_count(counts: int, live_s: float) -> Indication:
    """The time for a preset number of counts: r = n/t, u = r/√n; zero counts are refused."""
    n, t = float(checked_counts(counts)), float(checked_live(live_s))
    if n < 1:
        raise UserError(text("counting.too_few", what="counts", needed=1, given=0))
    return Indication(n / t, square=1.0 / n)


def ratemeter(rate_per_s: float, time_constant_s: float) -> Indication:
    """One reading of a rate meter with time constant τ: u² = r/(2τ); a reading of 0 claims one
    count in 2τ.
    """
    tau = float(checked_live(time_constant_s))
    r = known(rate_per_s).rate_per_s
    return Indication(r, linear=0.5 / tau, least=0.25 / tau**2)


def repeated(
    counts: np.ndarray[tuple[int], np.dtype[np.float64]], live_s: float, influence: float
) -> Indication:
    """Mean of m counts of equal times with a random influence ϑ: u²(n̄) = (n̄ + ϑ²n̄²)/m.

    ϑ is the relative standard deviation that sample, position or electronics add from one
    repeat to the next, found beforehand on a reference sample. All counts zero: one count in m.
    """
    n, t = checked_counts(counts), float(checked_live(live_s))
    if not (np.isfinite(influence) and influence >= 0.0):
        raise UserError(text("counting.factor", factor=1.0, u=influence))
    m = max(n.size, 1)
    return Indication(
        float(n.mean()) / t,
        linear=1.0 / (m * t),
        square=influence**2 / m,
        least=1.0 / (m * t) ** 2,
    )


@dataclass(frozen=True, slots=True)
class Characteristics:
    """The characteristic limits of one measurement, all in the measurand's unit.

    Args:
        primary: y with u(y) and the symmetrical interval that ignores y ≥ 0.
        best: ŷ with u(ŷ) and the probabilistically symmetric interval y◁ … y▷.
        shortest: low and high of the shortest coverage interval.
        decision_threshold: y*.
        detection_limit: y#; ``inf`` when no measurement of this kind reaches β.
        detected: whether y exceeds y*.
    """

    primary: Estimate
    best: Estimate
    shortest: tuple[float, float]
    decision_threshold: float
    detection_limit: float
    detected: bool


def characteristics(
    gross: Indication,
    blank: Indication,
    *,
    factor: float = 1.0,
    factor_u_rel: float = 0.0,
    alpha: float = 0.05,
    beta: float = 0.05,
    coverage: float = 0.95,
    unit: str = "1/s",
) -> Characteristics:
    """Characteristic limits of y = w (r_g - r_0).

    Zero counts: see the module's head.

    Args:
        gross: indication with the sample.
        blank: indication without it.
        factor: w, from net rate to the measurand's unit, above 0.
        factor_u_rel: u_rel(w).
        alpha: probability of deciding for an effect that is not there.
        beta: probability of missing one at the detection limit.
        coverage: 1 - γ.
        unit: unit of y.

    Raises:
        UserError: for a factor or probability that cannot be.
    """
    w, s = factor, factor_u_rel
    if not (np.isfinite(w) and w > 0.0 and np.isfinite(s) and 0.0 <= s < 1.0):
        raise UserError(text("counting.factor", factor=w, u=s))
    k_alpha = float(ndtri(1.0 - checked_coverage(alpha)))
    k_beta = float(ndtri(1.0 - checked_coverage(beta)))
    gamma = 1.0 - checked_coverage(coverage)
    y = w * (gross.rate_per_s - blank.rate_per_s)
    u = float(np.sqrt(w * w * (gross.variance + blank.variance) + (y * s) ** 2))

    def u_at(true: float) -> float:
        rate = true / w + blank.rate_per_s
        return float(np.sqrt(w * w * (gross.variance_at(rate) + blank.variance) + (true * s) ** 2))

    threshold = k_alpha * u_at(0.0)
    limit = _detection_limit(threshold, k_beta, u_at)
    best, shortest = _cut_at_zero(y, u, gamma)
    half = float(ndtri(1.0 - gamma / 2.0)) * u
    primary = Estimate(y, u, y - half, y + half, coverage, unit, None, "y = w (r_g - r_0)")
    estimate = Estimate(*best, coverage, unit, None, "ISO 11929-1, measurand not negative")
    return Characteristics(primary, estimate, shortest, threshold, limit, y > threshold)


def _detection_limit(threshold: float, k_beta: float, u_at: object) -> float:
    """Solve y# = y* + k ũ(y#) for the smallest root by bisection; inf when there is none."""
    assert callable(u_at)
    low, high = threshold, 2.0 * threshold
    for _ in range(60):
        if high >= threshold + k_beta * u_at(high):
            break
        low, high = high, 2.0 * high
    else:
        return float("inf")
    for _ in range(200):
        middle = 0.5 * (low + high)
        if middle >= threshold + k_beta * u_at(middle):
            high = middle
        else:
            low = middle
        if high - low <= 1e-14 * high:
            break
    return high


def _cut_at_zero(
    y: float, u: float, gamma: float
) -> tuple[tuple[float, float, float, float], tuple[float, float]]:
    """Mean, deviation and intervals of a normal posterior cut off below 0."""
    omega = float(ndtr(y / u))
    if omega < 1e-300:  # so far below zero that the measurement contradicts its own model
        raise UserError(text("counting.iso_variance", rate=y, u=u))
    density = float(np.exp(-0.5 * (y / u) ** 2) / np.sqrt(2.0 * np.pi))
    mean = y + u * density / omega
    spread = float(np.sqrt(max(u * u - (mean - y) * mean, 0.0)))
    low = y - u * float(ndtri(omega * (1.0 - gamma / 2.0)))
    high = y - u * float(ndtri(omega * gamma / 2.0))
    middle = float(ndtri((1.0 + omega * (1.0 - gamma)) / 2.0)) * u
    if y - middle >= 0.0:
        shortest = (y - middle, y + middle)
    else:
        shortest = (0.0, y - u * float(ndtri(omega * gamma)))
    return (mean, spread, max(low, 0.0), high), shortest
