"""Counting statistics from a display alone: for a box that does not click.

A displayed number is a smoothed count rate times a factor. Three displays give three estimates:

* *momentary*: readings that share a window are correlated. With the autocorrelation ρ(Δ) of the
  window (boxcar of T: 1 - Δ/T; exponential of τ: e^(-Δ/τ)) the mean of n readings has the variance
  σ² ρ̄, ρ̄ = Σᵢⱼ ρ(tᵢ - tⱼ)/n², and σ² = r/T or r/(2τ) for a count rate r.
* *average* since a reset: as many counts as fell since then.
* *accumulated*: the register read at start and end, with its quantum at either end.

All need the counts per displayed unit to turn a display into counts; for the uncertainty alone a
rough value is enough, and the momentary display can do without one, from its own scatter.

Zero counts: a display of zero is a value of 0 with a finite upper limit where the factor is
known; from scatter alone, readings that never change give only the quantum's uncertainty.
"""

from __future__ import annotations

from typing import Literal

import numpy as np
from numpy.typing import ArrayLike
from scipy.special import ndtri, stdtrit

from counterproof.counting.checks import Floats, checked_coverage, checked_live, checked_size
from counterproof.counting.poisson import counts_limits
from counterproof.errors import UserError
from counterproof.quantities import Estimate
from counterproof.texts import text

Shape = Literal["boxcar", "exponential"]


def mean_correlation(times_s: ArrayLike, window_s: float, shape: Shape = "boxcar") -> float:
    """ρ̄, the mean autocorrelation over all pairs of readings; 1/ρ̄ is their effective number.

    Args:
        times_s: when the readings were taken, ascending, shape (n,).
        window_s: boxcar length T or time constant τ in seconds; 0 for independent readings.
        shape: which of the two.

    Returns:
        A number from 1/n (independent) to 1 (all the same).
    """
    t = np.asarray(times_s, dtype=np.float64).ravel()
    checked_size(t, 1, "readings")
    if not (np.isfinite(window_s) and window_s >= 0.0):
        raise UserError(text("counting.reading"))
    n = t.size
    if window_s == 0.0:
        return 1.0 / n
    if shape == "boxcar":
        start = np.searchsorted(t, t - window_s, side="left")
        before = np.arange(n) - start
        sums = np.concatenate(([0.0], np.cumsum(t)))
        earlier = sums[:n] - sums[start]
        pairs = float((before - (before * t - earlier) / window_s).sum())
    elif shape == "exponential":
        decay = np.exp(-np.diff(t) / window_s)
        pairs = carried = 0.0
        for factor in decay:  # Σ over earlier readings, carried on from one to the next
            carried = (carried + 1.0) * float(factor)
            pairs += carried
    else:
        raise UserError(text("counting.shape", shape=shape))
    return float((n + 2.0 * pairs) / n**2)


def momentary_mean(
    times_s: ArrayLike,
    values: ArrayLike,
    window_s: float,
    shape: Shape = "boxcar",
    *,
    counts_per_s_per_unit: float | None = None,
    quantum: float = 0.0,
    unit: str = "",
    coverage: float = 0.95,
) -> Estimate:
    """Mean of smoothed readings with the uncertainty that their correlation leaves.

    With a factor the uncertainty is that of the counts behind the readings, the interval the
    exact Poisson one of their effective number; without, it comes from the scatter of the
    readings, corrected for the correlation, with Student's t for the effective number less one.

    Args:
        times_s: times of the readings, ascending, shape (n,).
        values: displayed numbers ≥ 0, shape (n,), in ``unit``.
        window_s: the display's window T or time constant τ in seconds.
        shape: ``"boxcar"`` or ``"exponential"``.
        counts_per_s_per_unit: counts per second for a display of 1, if known.
        quantum: smallest step of the display.
        unit: unit of the display.
        coverage: claimed coverage.

    Raises:
        UserError: for negative readings, unequal lengths, or one reading without a factor.
    """
    t = np.asarray(times_s, dtype=np.float64).ravel()
    v = _checked(values).ravel()
    if t.size != v.size:
        raise UserError(
            text("counting.lengths", what="times and readings", first=t.size, second=v.size)
        )
    checked_size(v, 1 if counts_per_s_per_unit else 3, "readings")
    _checked([quantum])
    rho = mean_correlation(t, window_s, shape)
    mean = float(v.mean())
    scatter = float(v.std(ddof=1)) if v.size > 1 else 0.0
    # readings that wander over more than half a step dither their own rounding away
    rounding = quantum / np.sqrt(12.0) * (np.sqrt(rho) if scatter > 0.5 * quantum else 1.0)
    if counts_per_s_per_unit is not None:
        factor = float(checked_live(counts_per_s_per_unit))
        one = window_s if shape == "boxcar" else 2.0 * window_s
        if one <= 0.0:
            raise UserError(text("counting.live_time"))
        effective_s = one / rho
        return _from_counts(
            mean, rounding, factor * effective_s, unit, coverage, "mean of momentary readings"
        )
    effective = 1.0 / rho
    if effective <= 1.5:
        raise UserError(
            text(
                "counting.too_few", what="independent readings", needed=2, given=f"{effective:.1f}"
            )
        )
    u = np.hypot(np.sqrt(scatter**2 * (v.size - 1) / v.size * rho / (1.0 - rho)), rounding)
    k = float(stdtrit(effective - 1.0, 0.5 + checked_coverage(coverage) / 2.0))
    return Estimate(
        mean,
        float(u),
        max(0.0, mean - k * float(u)),
        mean + k * float(u),
        coverage,
        unit,
        (mean / float(u)) ** 2 if u > 0 else None,
        "mean of momentary readings, from their scatter",
    )


def displayed_average(
    value: float,
    elapsed_s: float,
    counts_per_s_per_unit: float,
    *,
    quantum: float = 0.0,
    unit: str = "",
    coverage: float = 0.95,
) -> Estimate:
    """A displayed average since a reset: its counts, Poisson limits and rounding.

    The interval holds the exact limits at either end of the rounding step, so it never covers
    less than it claims. A display of 0 has the lower limit 0 and a finite upper one.

    Args:
        value: displayed average ≥ 0 in ``unit``.
        elapsed_s: time since the average was reset, in seconds.
        counts_per_s_per_unit: counts per second for a display of 1.
        quantum: smallest step of the display.
        unit: unit of the display.
        coverage: claimed coverage.
    """
    _checked([value, quantum])
    per_unit = float(checked_live(counts_per_s_per_unit)) * float(checked_live(elapsed_s))
    half = quantum / 2.0
    low, _ = counts_limits(max(0.0, value - half) * per_unit, coverage)
    _, high = counts_limits((value + half) * per_unit, coverage)
    n = value * per_unit
    u = np.hypot(np.sqrt(max(n, 1.0)) / per_unit, quantum / np.sqrt(12.0))
    return Estimate(
        value,
        float(u),
        float(low) / per_unit,
        float(high) / per_unit,
        coverage,
        unit,
        n,
        "displayed average",
    )


def register_rate(
    start: float,
    end: float,
    elapsed_s: float,
    counts_per_unit: float,
    *,
    quantum: float = 0.0,
    unit: str = "1/s",
    coverage: float = 0.95,
) -> Estimate:
    """Mean rate from an accumulated register read at start and end.

    Either reading is off by up to a quantum's worth of rounding or cutting, so the difference is
    uncertain by ± one quantum (triangular, u = q/√6). The interval holds the exact Poisson limits
    at both ends of that range. A register that has not moved gives 0 with a finite upper limit.

    Args:
        start: register at the start, in its own unit (µSv, counts).
        end: register at the end.
        elapsed_s: time between, in seconds.
        counts_per_unit: counts behind one unit of the register.
        quantum: smallest step of the register; 0 when both readings were taken as it stepped.
        unit: unit of the result, the register's per second.
        coverage: claimed coverage.

    Raises:
        UserError: if the register fell, or for input that cannot be.
    """
    _checked([start, end, quantum])
    if end < start:
        raise UserError(text("counting.register_back", start=start, end=end))
    t, per_unit = float(checked_live(elapsed_s)), float(checked_live(counts_per_unit))
    moved = end - start
    low, _ = counts_limits(max(0.0, moved - quantum) * per_unit, coverage)
    _, high = counts_limits((moved + quantum) * per_unit, coverage)
    n = moved * per_unit
    u = np.hypot(np.sqrt(max(n, 1.0)) / per_unit, quantum / np.sqrt(6.0)) / t
    return Estimate(
        moved / t,
        float(u),
        float(low) / per_unit / t,
        float(high) / per_unit / t,
        coverage,
        unit,
        n,
        "accumulated register, quantum included",
    )


def _from_counts(
    mean: float, rounding: float, per_unit: float, unit: str, coverage: float, method: str
) -> Estimate:
    """Poisson interval of an effective number of counts, widened by an independent rounding."""
    n = mean * per_unit
    low, high = counts_limits(n, coverage)
    u = np.hypot(np.sqrt(max(n, 1.0)) / per_unit, rounding)
    extra = float(ndtri(0.5 + coverage / 2.0)) * rounding
    below = np.hypot(mean - float(low) / per_unit, extra)
    above = np.hypot(float(high) / per_unit - mean, extra)
    return Estimate(
        mean,
        float(u),
        max(0.0, mean - float(below)),
        mean + float(above),
        coverage,
        unit,
        n,
        method,
    )


def _checked(values: ArrayLike) -> Floats:
    v = np.asarray(values, dtype=np.float64)
    if not np.isfinite(v).all() or bool((v < 0).any()):
        raise UserError(text("counting.reading"))
    return v
