"""For given count rates and displayed numbers: which factors, which switch, how well?

Least squares by cumulative sums over the readings in order of their rate: every possible switch
is tried at the price of one sort.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

Floats = NDArray[np.float64]
Bools = NDArray[np.bool_]

FEWEST = 6
"""Readings that a range needs before it is believed."""
MISMATCH = 0.1
"""Share of the counts by which a rate may be off while the estimator is still being sought."""


@dataclass(frozen=True)
class Profile:
    """The least-squares answer for one hypothesis about the rates.

    Args:
        cost: mean squared standardised residual with two factors.
        cost_one: the same with one factor.
        factors: cpm per µSv/h, low and high range.
        factor: cpm per µSv/h with one factor.
        switch_cpm: rate that separates the ranges.
    """

    cost: float
    cost_one: float
    factors: tuple[float, float]
    factor: float
    switch_cpm: float


def variance(cpm: Floats, counting: Floats, values: Floats, step: float) -> Floats:
    """Return the readings' variance in (µSv/h)², while the estimator is only roughly known."""
    busy = cpm > 0
    gain = float(np.median(values[busy] / cpm[busy])) if busy.any() else 0.0
    return np.asarray(MISMATCH * gain * gain * counting + step * step / 12.0 + 1e-18)


def fit_factors(cpm: Floats, counting: Floats, values: Floats, step: float) -> Profile:
    """Fit one and two factors to readings ``values`` (µSv/h) at rates ``cpm``, shape (n,).

    ``counting`` is the rates' counting variance in cpm², ``step`` the display's step in µSv/h.
    """
    order = np.argsort(cpm, kind="stable")
    r, v = cpm[order], values[order]
    w = 1.0 / variance(r, counting[order], v, step)
    rr, rv, vv = np.cumsum(w * r * r), np.cumsum(w * r * v), np.cumsum(w * v * v)
    n = r.size
    with np.errstate(divide="ignore", invalid="ignore"):
        below = vv - rv * rv / rr
        above = (vv[-1] - vv) - (rv[-1] - rv) ** 2 / (rr[-1] - rr)
    both = np.where(np.isfinite(below), below, vv) + np.where(np.isfinite(above), above, vv[-1])
    edge = np.zeros(n, dtype=bool)
    edge[FEWEST - 1 : n - FEWEST] = np.diff(r)[FEWEST - 1 : n - FEWEST] > 0
    one = float(below[-1])
    factor = float(rr[-1] / rv[-1]) if rv[-1] > 0 else np.inf
    if not edge.any():
        return Profile(one / n, one / n, (factor, factor), factor, float(r[-1]))
    i = int(np.argmin(np.where(edge, both, np.inf)))
    low = float(rr[i] / rv[i]) if rv[i] > 0 else factor
    high = float((rr[-1] - rr[i]) / (rv[-1] - rv[i])) if rv[-1] > rv[i] else factor
    switch = float(0.5 * (r[i] + r[i + 1]))
    cost = max(float(both[i]), 0.0)
    if not 0.95 < low / high < 1.05:
        low, high, cost = _with_band(r, v, w, (low, high), switch)
    return Profile(cost / n, one / n, (low, high), factor, switch)


def nearer_high(cpm: Floats, values: Floats, factors: tuple[float, float], switch: float) -> Bools:
    """Return which readings belong to the high range, shape (n,).

    Within ±30 % of the switch the nearer factor decides, because a firmware with hysteresis uses
    both there; outside, the switch does.
    """
    low, high = factors
    nearer = np.abs(values - cpm / high) < np.abs(values - cpm / low)
    band = np.abs(cpm / switch - 1.0) < 0.3
    return np.asarray(np.where(band, nearer, cpm >= switch))


def _with_band(
    r: Floats, v: Floats, w: Floats, factors: tuple[float, float], switch: float
) -> tuple[float, float, float]:
    """Refit both factors with either allowed near the switch; return them and the cost."""
    low, high = factors
    for _ in range(2):
        above = nearer_high(r, v, (low, high), switch)
        rv, rr = w * r * v, w * r * r
        for_low, for_high = float(rv[~above].sum()), float(rv[above].sum())
        low = float(rr[~above].sum()) / for_low if for_low > 0 else low
        high = float(rr[above].sum()) / for_high if for_high > 0 else high
    above = nearer_high(r, v, (low, high), switch)
    rest = v - np.where(above, r / high, r / low)
    return low, high, float((w * rest * rest).sum())


def agreed_factor(cpm: Floats, values: Floats, step: float) -> tuple[float, int]:
    """Return the factor that most readings agree with to within half a step, and how many do.

    Each reading allows the factors r/(v + q/2) … r/(v − q/2); the deepest overlap is found by one
    sort of all the ends.
    """
    busy = (cpm > 0) & (values > 0.5 * step)
    r, v = cpm[busy], values[busy]
    if r.size == 0:
        return np.inf, 0
    ends = np.concatenate((r / (v + 0.5 * step), r / (v - 0.5 * step)))
    turn = np.concatenate((np.ones(r.size, np.int64), -np.ones(r.size, np.int64)))
    order = np.lexsort((-turn, ends))
    depth = np.cumsum(turn[order])
    best = int(np.argmax(depth))
    right = min(best + 1, ends.size - 1)
    return float(0.5 * (ends[order[best]] + ends[order[right]])), int(depth[best])
