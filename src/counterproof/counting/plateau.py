"""Plateau of a counting tube from a voltage sweep: start, ends, slope, working point.

Slope in %/100 V = 100 (N₂-N₁)/N₁ · 100/(V₂-V₁), net of background; the divisor is stated. Beside
this end-point slope stands a weighted straight line through all points of the plateau, which has an
uncertainty one can trust.

The ends, when not given: neighbouring points belong together unless the slope between them exceeds
the limit by more than two of its standard uncertainties; of the longest such stretch the end
segments that exceed the limit as they stand are then taken off. So noise does not cut a plateau in
two, and a knee that noise might excuse is not called plateau.

Limits of 3…5 %/100 V (organic quenching) and 10 (halogen), a length of 80…100 V, and a working
point a third to a half along are common practice, no source; the data sheet comes first.

Zero counts at a voltage below the start are expected and harmless.

High voltage: sweep only with equipment made for it, and discharge it before touching anything.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

import numpy as np
from numpy.typing import ArrayLike
from scipy.special import gammaincc, ndtri

from counterproof.counting.checks import (
    Floats,
    checked_counts,
    checked_coverage,
    checked_live,
    checked_size,
)
from counterproof.errors import UserError
from counterproof.quantities import Estimate
from counterproof.texts import text

Verdict = Literal["good", "too steep", "too short", "falling", "cannot tell", "no plateau"]
UNIT = "%/100 V"


@dataclass(frozen=True, eq=False)
class Sweep:
    """Net rates by voltage, repeats put together.

    Args:
        voltages: ascending, shape (n,), in volts.
        counts: counts at each, repeats summed.
        live_s: counting time at each.
        net_per_s: net rate.
        u_per_s: its standard uncertainty from the point's own counts.
        rejected: (voltage, reason) of points left out because their repeats disagree.
    """

    voltages: Floats
    counts: Floats
    live_s: Floats
    net_per_s: Floats
    u_per_s: Floats
    rejected: tuple[tuple[float, str], ...]


@dataclass(frozen=True, eq=False)
class Plateau:
    """What a sweep says about a tube.

    Args:
        sweep: the points it rests on.
        start_v: lowest voltage with counts clearly above background; ``nan`` if none.
        low_v: lower end of the plateau; ``nan`` without one, as all that follow.
        high_v: upper end.
        endpoint_slope: from the two ends, divisor N₁ (the lower end's net rate), in %/100 V.
        slope: weighted straight line, divisor its value at ``reference_v``, in %/100 V.
        reference_v: voltage whose rate is the divisor of ``slope``.
        fit_p_value: whether the points lie on that line.
        midpoint_v: middle of the plateau.
        working_v: suggested working point.
        verdict: ``"good"`` only for a slope that is not negative, not too steep, and long enough.
    """

    sweep: Sweep
    start_v: float
    low_v: float
    high_v: float
    endpoint_slope: Estimate
    slope: Estimate
    reference_v: float
    fit_p_value: float
    midpoint_v: float
    working_v: float
    verdict: Verdict

    @property
    def length_v(self) -> float:
        """Length of the plateau in volts."""
        return self.high_v - self.low_v


def sweep_of(
    voltages: ArrayLike, counts: ArrayLike, live_s: ArrayLike, background_per_s: float = 0.0
) -> Sweep:
    """Put a sweep in order; leave out voltages whose repeats cannot be chance (p < 0.0001).

    Args:
        voltages: in volts, shape (n,), repeats allowed, any order.
        counts: counts at each.
        live_s: counting times in seconds, shape (n,) or one for all.
        background_per_s: background rate in 1/s, taken off.

    Raises:
        UserError: for unequal lengths or bad input.
    """
    v = np.asarray(voltages, dtype=np.float64).ravel()
    n = checked_counts(counts).ravel()
    if v.size != n.size:
        raise UserError(
            text("counting.lengths", what="voltages and counts", first=v.size, second=n.size)
        )
    checked_size(v, 2, "voltages")
    t = np.broadcast_to(checked_live(live_s), n.shape)
    if not np.isfinite(v).all() or not np.isfinite(background_per_s) or background_per_s < 0.0:
        raise UserError(text("counting.correction"))
    kept: list[tuple[float, float, float]] = []
    rejected = []
    for volt in np.unique(v):
        here = v == volt
        total, time = float(n[here].sum()), float(t[here].sum())
        expected = total * t[here] / time
        repeats = int(here.sum())
        if repeats > 1 and total > 0.0:
            chi2 = float(((n[here] - expected) ** 2 / expected).sum())
            if gammaincc((repeats - 1) / 2.0, chi2 / 2.0) < 1e-4:
                told = ", ".join(f"{c:g}" for c in n[here])
                rejected.append(
                    (float(volt), text("counting.repeats", volt=f"{volt:g}", counts=told))
                )
                continue
        kept.append((float(volt), total, time))
    checked_size(np.array(kept), 2, "voltages")
    volts, totals, times = (np.array(column) for column in zip(*kept, strict=True))
    net = totals / times - background_per_s
    u = np.sqrt(np.maximum(totals, 1.0)) / times
    return Sweep(volts, totals, times, net, u, tuple(rejected))


def plateau(
    voltages: ArrayLike,
    counts: ArrayLike,
    live_s: ArrayLike,
    *,
    background_per_s: float = 0.0,
    ends_v: tuple[float, float] | None = None,
    reference_v: float | None = None,
    max_slope: float = 5.0,
    min_length_v: float = 80.0,
    working_share: float = 0.375,
    coverage: float = 0.95,
) -> Plateau:
    """Analyse a voltage sweep.

    Args:
        voltages: in volts, shape (n,), repeats allowed.
        counts: counts at each.
        live_s: counting times in seconds, shape (n,) or one for all.
        background_per_s: background rate in 1/s.
        ends_v: ends of the plateau if known; found otherwise.
        reference_v: where the weighted slope's divisor is taken; the midpoint when left out.
        max_slope: steepest slope accepted, in %/100 V; the data sheet's if there is one.
        min_length_v: shortest plateau accepted, in volts.
        working_share: how far along the plateau the working point lies, 0…1.
        coverage: nominal coverage of the slopes' intervals.

    Raises:
        UserError: for fewer than two usable voltages or bad input.
    """
    sweep = sweep_of(voltages, counts, live_s, background_per_s)
    v, net, u = sweep.voltages, sweep.net_per_s, sweep.u_per_s
    clear = net > 3.0 * np.hypot(u, np.sqrt(background_per_s / sweep.live_s))
    start = float(v[int(clear.argmax())]) if clear.any() else float("nan")
    if ends_v is None:
        first, last = _find_ends(v, net, u, clear, max_slope)
    else:
        inside = np.flatnonzero((v >= ends_v[0]) & (v <= ends_v[1]) & (net > 0.0))
        first, last = (int(inside[0]), int(inside[-1])) if inside.size else (0, 0)
    z = float(ndtri(0.5 + checked_coverage(coverage) / 2.0))
    if last <= first:
        nan = float("nan")
        none = Estimate(nan, nan, nan, nan, coverage, UNIT, None, "no plateau found")
        return Plateau(sweep, start, nan, nan, none, none, nan, nan, nan, nan, "no plateau")
    low, high = float(v[first]), float(v[last])
    middle = 0.5 * (low + high)
    ends = _slope(v[first], net[first], u[first], v[last], net[last], u[last])
    part = slice(first, last + 1)
    total = float(sweep.counts[part].sum())
    at = middle if reference_v is None else reference_v
    line, p = _weighted(v[part] - at, net[part], u[part])

    def estimate(value_u: tuple[float, float], method: str) -> Estimate:
        value, spread = value_u
        return Estimate(
            value, spread, value - z * spread, value + z * spread, coverage, UNIT, total, method
        )

    slope = estimate(line, f"weighted straight line, divisor its rate at {at:g} V")
    return Plateau(
        sweep,
        start,
        low,
        high,
        estimate(ends, f"end points, divisor the net rate at {low:g} V"),
        slope,
        at,
        p,
        middle,
        low + working_share * (high - low),
        _judge(slope, high - low, max_slope, min_length_v),
    )


def _judge(slope: Estimate, length: float, max_slope: float, min_length: float) -> Verdict:
    if slope.value < 0.0:  # never good: at best it cannot be told from level
        return "falling" if slope.value < -2.0 * slope.u else "cannot tell"
    if length < min_length:
        return "too short"
    if slope.value > max_slope:
        return "too steep" if slope.value - 2.0 * slope.u > max_slope else "cannot tell"
    return "good"


def _slope(v1: float, n1: float, u1: float, v2: float, n2: float, u2: float) -> tuple[float, float]:
    """Slope between two points in %/100 V of the first, and its standard uncertainty."""
    scale = 1e4 / (v2 - v1)
    ratio = n2 / n1
    return float(scale * (ratio - 1.0)), float(scale * np.hypot(u2 / n1, ratio * u1 / n1))


def _find_ends(
    v: Floats,
    net: Floats,
    u: Floats,
    clear: np.ndarray[tuple[int], np.dtype[np.bool_]],
    limit: float,
) -> tuple[int, int]:
    """Indices of the plateau's ends; equal when there is none."""
    steps = [
        _slope(v[i], net[i], u[i], v[i + 1], net[i + 1], u[i + 1]) if clear[i] else (np.inf, 0.0)
        for i in range(v.size - 1)
    ]
    best, first = (0, 0), 0
    for i, (slope, spread) in enumerate(steps):
        if slope - 2.0 * spread > limit or not np.isfinite(slope):
            first = i + 1
        elif v[i + 1] - v[first] > v[best[1]] - v[best[0]]:
            best = (first, i + 1)
    first, last = best
    while first < last and steps[first][0] > limit:
        first += 1
    while last > first and steps[last - 1][0] > limit:
        last -= 1
    return first, last


def _weighted(x: Floats, y: Floats, u: Floats) -> tuple[tuple[float, float], float]:
    """Relative slope of a weighted line in %/100 V of its value at x = 0, with u, and fit p."""
    design = np.stack([np.ones_like(x), x], axis=1) / u[:, None]
    covariance = np.linalg.inv(design.T @ design)
    a, b = covariance @ design.T @ (y / u)
    gradient = np.array([-b / a**2, 1.0 / a])
    spread = float(np.sqrt(gradient @ covariance @ gradient))
    chi2 = float((((y - a - b * x) / u) ** 2).sum())
    dof = x.size - 2
    p = float(gammaincc(dof / 2.0, chi2 / 2.0)) if dof > 0 else float("nan")
    return (float(1e4 * b / a), 1e4 * spread), p
