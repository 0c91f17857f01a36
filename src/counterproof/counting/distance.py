"""Net rate against distance: n = k/(d + d₀)² + b.

d₀ is how far the tube's effective centre lies behind the point that distances are measured from.
The background count is one of the fitted points, so its uncertainty is in the result. A misfit
(p < 0.01) is flagged: then the source is no point, the room scatters, or dead time was left out.

Zero counts at a distance are used like any other; a background of 0 counts is allowed.
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
from counterproof.counting.deadtime import DeadTime, non_paralysable
from counterproof.counting.ratefit import RateFit, fit_rates
from counterproof.errors import UserError
from counterproof.quantities import Estimate
from counterproof.texts import text


@dataclass(frozen=True, eq=False)
class DistanceFit:
    """A fitted distance ladder.

    Args:
        k: source strength in counts per second times distance squared.
        offset: d₀ in the unit of the distances.
        background: b in 1/s.
        tau: fitted dead time in seconds; ``None`` when it was fixed.
        fit: the fit itself: expected counts, residuals, χ², p value and misfit flag.
    """

    k: Estimate
    offset: Estimate
    background: Estimate
    tau: Estimate | None
    fit: RateFit


def fit_distance(
    distances: ArrayLike,
    counts: ArrayLike,
    live_s: ArrayLike,
    background_counts: float,
    background_s: float,
    *,
    dead: DeadTime | None = None,
    fit_dead_time: bool = False,
    distance_u: float = 0.0,
    distance_unit: str = "mm",
    coverage: float = 0.95,
) -> DistanceFit:
    """Fit k, d₀ and b, and with ``fit_dead_time`` a non-paralysable dead time, to a ladder.

    Args:
        distances: distances from the reference point, shape (n,), in ``distance_unit``.
        counts: counts at each, shape (n,).
        live_s: counting times in seconds, shape (n,) or one for all.
        background_counts: counts without the source.
        background_s: their counting time in seconds.
        dead: a known dead time.
        fit_dead_time: fit one instead; needs rates high enough to lose counts.
        distance_u: standard uncertainty of each distance, independent from point to point.
        distance_unit: unit of the distances, for the results.
        coverage: nominal coverage of the intervals (normal approximation).

    Raises:
        UserError: for too few points, unequal lengths or counts that no fit describes.
    """
    d = np.asarray(distances, dtype=np.float64).ravel()
    n = checked_counts(counts).ravel()
    if d.size != n.size:
        raise UserError(
            text("counting.lengths", what="distances and counts", first=d.size, second=n.size)
        )
    checked_size(d, 3 if fit_dead_time else 2, "distances")
    t = np.broadcast_to(checked_live(live_s), n.shape).copy()
    all_counts = np.append(n, checked_counts(background_counts))
    all_times = np.append(t, checked_live(background_s))
    b = float(all_counts[-1] / all_times[-1])

    def law(theta: Floats) -> Floats:
        k, d0, background = theta
        return np.append(k / (d + d0) ** 2 + background, background)

    def from_position(theta: Floats) -> Floats:
        k, d0, background = theta[:3]
        source = k / (d + d0) ** 2
        return np.append(
            2.0 * distance_u / (d + d0) * source / np.maximum(source + background, 1e-30), 0.0
        )

    # 1/√(net rate) is a straight line in d: slope 1/√k, intercept d₀/√k
    net = np.maximum(n / t - b, 1e-3 * n.max() / t[int(n.argmax())])
    slope, intercept = np.polyfit(d, 1.0 / np.sqrt(net), 1, w=np.sqrt(n + 1.0))
    nearest = float(d.min())
    d0 = intercept / slope if slope > 0 else 0.0
    d0 = max(d0, -0.5 * nearest)
    k = float(np.median(net * (d + d0) ** 2))
    fitted = fit_rates(
        law,
        np.array([k, d0, b]),
        all_counts,
        all_times,
        dead=non_paralysable if fit_dead_time else dead,
        tau_start_s=0.1 * float((t / np.maximum(n, 1.0)).min()),
        position_u_rel=from_position if distance_u > 0.0 else None,
        lower=np.array([0.0, -0.99 * nearest, 0.0]),
    )
    z = float(ndtri(0.5 + checked_coverage(coverage) / 2.0))
    total = float(n.sum())

    def estimate(i: int, unit: str) -> Estimate:
        value, u = float(fitted.parameters[i]), float(fitted.u[i])
        return Estimate(
            value, u, value - z * u, value + z * u, coverage, unit, total, "distance ladder"
        )

    return DistanceFit(
        estimate(0, f"{distance_unit}²/s"),
        estimate(1, distance_unit),
        estimate(2, "1/s"),
        estimate(3, "s") if fit_dead_time else None,
        fitted,
    )
