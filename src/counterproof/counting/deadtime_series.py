"""Dead time from a series of known *relative* rates: a decaying source, or a dose-rate ladder.

Both fit n = s·x + b with a non-paralysable dead time by :func:`counterproof.counting.ratefit.
fit_rates`: x falls as e^(-λt) for a decaying source, or is what a reference says (dose rates by
another counter, k/(d+d₀)² from :mod:`counterproof.counting.distance`). Knoll draws the first as a
straight line, m e^(λt) against m with slope -n₀τ and intercept n₀; here the counts themselves are
fitted, so that their weights are right.

Zero counts at a point are used like any other; a background of 0 counts is allowed.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike
from scipy.special import ndtri

from counterproof.counting.checks import (
    Floats,
    checked_counts,
    checked_coverage,
    checked_live,
    checked_size,
)
from counterproof.counting.deadtime import non_paralysable, paralysable
from counterproof.counting.deadtime_sources import Model
from counterproof.counting.ratefit import RateFit, fit_rates
from counterproof.errors import UserError
from counterproof.quantities import Estimate
from counterproof.texts import text


@dataclass(frozen=True, eq=False)
class SeriesFit:
    """A dead time from a series of rates.

    Args:
        tau: dead time in seconds.
        scale: s: true rate at x = 1, in 1/s.
        resolved: whether the interval of ``tau`` excludes 0.
        fit: the fit itself, with χ², p value and misfit flag.
    """

    tau: Estimate
    scale: Estimate
    resolved: bool
    fit: RateFit


def dead_time_from_decay(
    starts_s: ArrayLike,
    durations_s: ArrayLike,
    counts: ArrayLike,
    half_life_s: float,
    background_counts: float = 0.0,
    background_s: float | None = None,
    *,
    model: Model = "non-paralysable",
    coverage: float = 0.95,
) -> SeriesFit:
    """Dead time from counts of a decaying source of known half-life.

    Args:
        starts_s: starts of the intervals in seconds, shape (n,); x = 1 at time 0.
        durations_s: their lengths in seconds, short against the half-life or not.
        counts: counts in each.
        half_life_s: half-life in seconds.
        background_counts: counts without the source.
        background_s: their counting time; ``None`` for a background known to be 0.
        model: which dead-time model.
        coverage: nominal coverage of the intervals.

    Raises:
        UserError: for too few points, unequal lengths, or a half-life that is not positive.
    """
    if not (np.isfinite(half_life_s) and half_life_s > 0.0):
        raise UserError(text("counting.half_life", half_life=half_life_s))
    lam = np.log(2.0) / half_life_s
    start = np.asarray(starts_s, dtype=np.float64).ravel()
    length = np.broadcast_to(checked_live(durations_s), start.shape)
    # mean of e^(-λt) over each interval
    x = np.exp(-lam * start) * -np.expm1(-lam * length) / (lam * length)
    return dead_time_from_ladder(
        x,
        counts,
        length,
        background_counts,
        background_s,
        model=model,
        coverage=coverage,
        method="decaying source",
    )


def dead_time_from_ladder(
    reference: ArrayLike,
    counts: ArrayLike,
    live_s: ArrayLike,
    background_counts: float = 0.0,
    background_s: float | None = None,
    *,
    reference_u_rel: float = 0.0,
    model: Model = "non-paralysable",
    coverage: float = 0.95,
    method: str = "dose-rate ladder",
) -> SeriesFit:
    """Dead time from counts at known relative rates.

    Args:
        reference: relative true net rates xᵢ (dose rates, 1/(d+d₀)², decay factors), shape (n,).
        counts: counts at each.
        live_s: counting times in seconds, shape (n,) or one for all.
        background_counts: counts without the source.
        background_s: their counting time; ``None`` for a background known to be 0.
        reference_u_rel: relative standard uncertainty of each xᵢ, independent.
        model: which dead-time model.
        coverage: nominal coverage of the intervals (normal approximation).
        method: what to call it in the result.

    Raises:
        UserError: for too few points or unequal lengths.
    """
    x = checked_live(reference).ravel()
    n = checked_counts(counts).ravel()
    if x.size != n.size:
        raise UserError(
            text("counting.lengths", what="rates and counts", first=x.size, second=n.size)
        )
    checked_size(n, 2, "points")
    t = np.broadcast_to(checked_live(live_s), n.shape)
    known_zero = background_s is None
    b = 0.0 if background_s is None else background_counts / float(checked_live(background_s))
    if background_s is not None:
        n, t = np.append(n, checked_counts(background_counts)), np.append(t, background_s)

    def law(theta: Floats) -> Floats:
        if known_zero:
            return np.asarray(theta[0] * x)
        return np.append(theta[0] * x + theta[1], theta[1])

    def from_reference(theta: Floats) -> Floats:
        source = theta[0] * x
        rest = 0.0 if known_zero else theta[1]
        share = reference_u_rel * source / np.maximum(source + rest, 1e-30)
        return share if known_zero else np.append(share, 0.0)

    dead = non_paralysable if model == "non-paralysable" else paralysable
    rates = n[: x.size] / t[: x.size]
    scale = float(np.median(np.maximum(rates - b, 0.1 * rates.max()) / x))
    fit = fit_rates(
        law,
        np.array([scale] if known_zero else [scale, b]),
        n,
        np.asarray(t, dtype=np.float64),
        dead=dead,
        tau_start_s=0.1 / float(rates.max()),
        position_u_rel=from_reference if reference_u_rel > 0.0 else None,
        lower=np.array([0.0] if known_zero else [0.0, 0.0]),
    )
    z = float(ndtri(0.5 + checked_coverage(coverage) / 2.0))

    def estimate(i: int, unit: str) -> Estimate:
        value, u = float(fit.parameters[i]), float(fit.u[i])
        return Estimate(
            value, u, value - z * u, value + z * u, coverage, unit, float(n.sum()), method
        )

    tau = estimate(-1, "s")
    return SeriesFit(tau, estimate(0, "1/s"), tau.low > 0.0, fit)
