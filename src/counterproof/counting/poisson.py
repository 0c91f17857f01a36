"""Exact Poisson limits of a count, and the true rate behind a count.

Limits (Garwood, Biometrika 28 (1936) 437), from the gamma (chi-squared) quantiles::

    low  = ½ χ²(α/2; 2n)        high = ½ χ²(1-α/2; 2n+2)

The rate adds what stands between the radiation and the count: events are found with efficiency ε,
false ones come at rate f, and each accepted event blinds the counter for a time τ (not extended by
further events). With λ = εr + f the count N in a time T obeys *exactly*::

    P(N ≥ n) = P(Gamma(n) ≤ λ (T - (n-1)τ))

because n events with n-1 dead times between them must fit into T. So the exact limits of λ are
Garwood's with the live times T-(n-1)τ below and T-nτ above. Uncertain ε, f and τ are averaged over
in the tail probability (Cousins & Highland, Nucl. Instrum. Methods A 320 (1992) 331).

Zero counts: the lower limit is 0, the upper one finite (3.689 for 95 %, two-sided), the value 0.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike
from scipy.special import gammainc, gammaincc, gammainccinv, gammaincinv

from counterproof.counting.checks import Floats, checked_counts, checked_coverage, checked_live
from counterproof.errors import UserError
from counterproof.quantities import Estimate
from counterproof.texts import text

_Z = np.linspace(-7.0, 7.0, 701)
_W = np.exp(-0.5 * _Z**2) / np.exp(-0.5 * _Z**2).sum()


def counts_limits(counts: ArrayLike, coverage: float = 0.95) -> tuple[Floats, Floats]:
    """Exact central two-sided limits of a Poisson mean (Garwood 1936).

    Zero counts give a lower limit of 0 and an upper limit of -ln((1-coverage)/2).

    Args:
        counts: observed counts, any shape.
        coverage: claimed coverage; the true one is never less.

    Returns:
        Lower and upper limits, each of the shape of ``counts``.

    Raises:
        UserError: for a negative count or a coverage outside (0, 1).
    """
    tail = (1.0 - checked_coverage(coverage)) / 2.0
    return lower_limit(counts, 1.0 - tail), upper_limit(counts, 1.0 - tail)


def upper_limit(counts: ArrayLike, confidence: float = 0.95) -> Floats:
    """Exact one-sided upper limit of a Poisson mean; zero counts give -ln(1-confidence).

    Args:
        counts: observed counts, any shape.
        confidence: probability that the limit lies above the mean, at least.

    Raises:
        UserError: for a negative count or a confidence outside (0, 1).
    """
    n = checked_counts(counts)
    return np.asarray(gammainccinv(n + 1.0, 1.0 - checked_coverage(confidence)), dtype=np.float64)


def lower_limit(counts: ArrayLike, confidence: float = 0.95) -> Floats:
    """Exact one-sided lower limit of a Poisson mean; zero counts give 0.

    Args:
        counts: observed counts, any shape.
        confidence: probability that the limit lies below the mean, at least.

    Raises:
        UserError: for a negative count or a confidence outside (0, 1).
    """
    n = checked_counts(counts)
    low = gammaincinv(np.where(n > 0, n, 1.0), 1.0 - checked_coverage(confidence))
    return np.asarray(np.where(n > 0, low, 0.0), dtype=np.float64)


def midp_limits(counts: ArrayLike, coverage: float = 0.95) -> tuple[Floats, Floats]:
    """Approximate (mid-P) limits of a Poisson mean: half the probability of the count itself.

    Shorter than Garwood's: the coverage scatters about the claimed one instead of never falling
    below it (Lancaster, J. Am. Stat. Assoc. 56 (1961) 223). The building block of differences.
    Zero counts give a lower limit of 0 and an upper limit of -ln(1-coverage).

    Args:
        counts: observed counts, any shape.
        coverage: nominal coverage.

    Raises:
        UserError: for a negative count or a coverage outside (0, 1).
    """
    n = checked_counts(counts)
    tail = (1.0 - checked_coverage(coverage)) / 2.0
    some = np.where(n > 0, n, 1.0)

    def below(mean: Floats) -> Floats:
        """P(N < n) + ½P(N = n)."""
        fewer = np.where(n > 0, gammaincc(some, mean), 0.0)
        return np.asarray(0.5 * (gammaincc(n + 1.0, mean) + fewer), dtype=np.float64)

    def solved(target: float) -> Floats:
        low, high = counts_limits(n, coverage)
        for _ in range(60):
            middle = 0.5 * (low + high)
            above = below(middle) > target
            low, high = np.where(above, middle, low), np.where(above, high, middle)
        return np.asarray(0.5 * (low + high), dtype=np.float64)

    return np.asarray(np.where(n > 0, solved(1.0 - tail), 0.0)), solved(tail)


def rate_limits(
    counts: ArrayLike, live_s: ArrayLike, coverage: float = 0.95
) -> tuple[Floats, Floats]:
    """Exact limits of a rate, ``counts_limits`` over ``live_s``; zero counts start at 0.

    Args:
        counts: observed counts.
        live_s: live times in seconds, broadcast against ``counts``.
        coverage: claimed coverage.

    Returns:
        Lower and upper limits in 1/s.

    Raises:
        UserError: for a negative count, a live time that is not positive or a bad coverage.
    """
    low, high = counts_limits(counts, coverage)
    t = checked_live(live_s)
    return low / t, high / t


def counts_estimate(counts: float, coverage: float = 0.95) -> Estimate:
    """Poisson mean behind one count, with Garwood's interval.

    The standard uncertainty is √n; for zero counts it is 1, that of the flat-prior posterior,
    because 0 ± 0 would claim too much.

    Raises:
        UserError: for a negative count or a coverage outside (0, 1).
    """
    low, high = counts_limits(counts, coverage)
    n = float(counts)
    return Estimate(
        n,
        float(np.sqrt(n)) if n > 0 else 1.0,
        float(low),
        float(high),
        coverage,
        "",
        n,
        "exact Poisson limits (Garwood)",
    )


def rate_estimate(
    counts: float,
    live_s: float,
    *,
    resolving_time_s: float = 0.0,
    resolving_time_u_s: float = 0.0,
    efficiency: float = 1.0,
    efficiency_u: float = 0.0,
    false_rate_per_s: float = 0.0,
    false_rate_u_per_s: float = 0.0,
    coverage: float = 0.95,
) -> Estimate:
    """True rate behind a count: (N/(T-Nτ) - f)/ε, its interval covering the true rate.

    The resolving time is that of a non-paralysable counter: no two counts are closer, and every
    event later than that after the last count is counted. For a list of times that may hold closer
    events use :func:`rate_from_times`.

    Zero counts give the value 0, the interval from 0 to the exact upper limit, and the standard
    uncertainty of one count. A value that the false rate would push below 0 is returned as 0.

    Args:
        counts: accepted events N.
        live_s: time T during which events could be heard, dead times *not* taken off, in seconds.
        resolving_time_s: τ in seconds.
        resolving_time_u_s: standard uncertainty of τ in seconds.
        efficiency: ε, share of true events that are found when far apart, 0 < ε ≤ 1.
        efficiency_u: its standard uncertainty.
        false_rate_per_s: f, rate of false events in 1/s.
        false_rate_u_per_s: its standard uncertainty in 1/s.
        coverage: claimed coverage of the interval.

    Returns:
        The rate in 1/s. The upper end is ``inf`` when the efficiency is too uncertain to bound it.

    Raises:
        UserError: for negative counts or uncertainties, a live time that is not positive, an
            efficiency outside (0, 1], or dead times that fill the whole recording.
    """
    n = float(checked_counts(counts))
    total = float(checked_live(live_s))
    corrections = Corrections(
        resolving_time_s,
        resolving_time_u_s,
        efficiency,
        efficiency_u,
        false_rate_per_s,
        false_rate_u_per_s,
    )
    live = total - n * resolving_time_s
    return _corrected(n, live, live + min(n, 1.0) * resolving_time_s, corrections, coverage)


def rate_from_times(
    times_s: ArrayLike,
    live_s: float,
    *,
    resolving_time_s: float = 0.0,
    resolving_time_u_s: float = 0.0,
    efficiency: float = 1.0,
    efficiency_u: float = 0.0,
    false_rate_per_s: float = 0.0,
    false_rate_u_per_s: float = 0.0,
    coverage: float = 0.95,
) -> Estimate:
    """True rate behind a list of event times that may, or may not, hold events closer than τ.

    Only what is certain is used: later than τ after the last reported event every event is
    reported. So the events that come later than τ after the one before are counted, over the time
    spent at such ages, T - Σ min(interval, τ). The hazard of a Poisson process is constant there
    whatever happens earlier, so the limits are those of :func:`rate_estimate`, and equal to them
    when no two events are closer than τ.

    No events give the value 0 and a finite upper limit.

    Args:
        times_s: reported times in seconds, ascending, shape (n,).
        live_s: time T during which events could be heard, dead times not taken off, in seconds.
        resolving_time_s: τ in seconds.
        resolving_time_u_s: standard uncertainty of τ in seconds.
        efficiency: as in :func:`rate_estimate`, as are all that follow.
        efficiency_u: its standard uncertainty.
        false_rate_per_s: rate of false events in 1/s.
        false_rate_u_per_s: its standard uncertainty in 1/s.
        coverage: claimed coverage.

    Returns:
        The rate in 1/s; ``counts`` are the events that were counted.

    Raises:
        UserError: as :func:`rate_estimate`, and for times that do not ascend.
    """
    t = np.asarray(times_s, dtype=np.float64).ravel()
    intervals = np.diff(t)
    if not np.isfinite(t).all() or bool((intervals < 0).any()):
        raise UserError(text("counting.interval"))
    corrections = Corrections(
        resolving_time_s,
        resolving_time_u_s,
        efficiency,
        efficiency_u,
        false_rate_per_s,
        false_rate_u_per_s,
    )
    # an interval equal to τ up to the rounding of the times counts as later
    later = intervals >= resolving_time_s - 4.0 * np.spacing(t[-1] if t.size else 0.0)
    n = float(later.sum()) + min(t.size, 1)
    blind = float(np.minimum(intervals, resolving_time_s).sum())
    live_low = float(checked_live(live_s)) - blind
    live = live_low - min(t.size, 1) * resolving_time_s
    return _corrected(n, live, live_low, corrections, coverage)


@dataclass(frozen=True, slots=True)
class Corrections:
    """What stands between radiation and counts; see :func:`rate_estimate`.

    Raises:
        UserError: for negative values or an efficiency outside (0, 1].
    """

    resolving_time_s: float
    resolving_time_u_s: float
    efficiency: float
    efficiency_u: float
    false_rate_per_s: float
    false_rate_u_per_s: float

    def __post_init__(self) -> None:
        """Refuse what cannot be."""
        if not 0.0 < self.efficiency <= 1.0:
            raise UserError(text("counting.efficiency", efficiency=self.efficiency))
        parts = (
            self.resolving_time_s,
            self.resolving_time_u_s,
            self.efficiency_u,
            self.false_rate_per_s,
            self.false_rate_u_per_s,
        )
        if not all(np.isfinite(parts)) or min(parts) < 0.0:
            raise UserError(text("counting.correction"))


def _corrected(
    n: float, live: float, live_low: float, by: Corrections, coverage: float
) -> Estimate:
    """Rate from ``n`` counts; ``live`` belongs to the upper limit, ``live_low`` to the lower."""
    tail = (1.0 - checked_coverage(coverage)) / 2.0
    if live <= 0.0:
        raise UserError(text("counting.saturated", counts=f"{n:g}", live=f"{live_low:g}"))
    found = n / live
    value = max(0.0, (found - by.false_rate_per_s) / by.efficiency)
    slope = found * n / live  # d(found)/dτ
    u = (
        np.sqrt(
            max(n, 1.0) / live**2
            + (slope * by.resolving_time_u_s) ** 2
            + by.false_rate_u_per_s**2
            + (value * by.efficiency_u) ** 2
        )
        / by.efficiency
    )
    if by.resolving_time_u_s == by.efficiency_u == by.false_rate_u_per_s == 0.0:
        few, many = float(lower_limit(n, 1.0 - tail)), float(upper_limit(n, 1.0 - tail))
        low = (few / live_low - by.false_rate_per_s) / by.efficiency
        high = (many / live - by.false_rate_per_s) / by.efficiency
        method = "exact Poisson limits"
    else:

        def mean_events(rate: float, time: float) -> Floats:
            """Expected events at ``rate``, spread over the uncertain corrections."""
            seen = by.efficiency * rate + by.false_rate_per_s
            seen_u = np.hypot(by.efficiency_u * rate, by.false_rate_u_per_s)
            time_u = n * by.resolving_time_u_s
            spread = np.sqrt((seen * time_u) ** 2 + (time * seen_u) ** 2 + (time_u * seen_u) ** 2)
            return np.asarray(np.maximum(seen * time + _Z * spread, 0.0), dtype=np.float64)

        def too_many(rate: float) -> float:
            return float(_W @ gammainc(n, mean_events(rate, live_low)))

        def too_few(rate: float) -> float:
            return float(_W @ gammaincc(n + 1.0, mean_events(rate, live)))

        low = _where(lambda r: too_many(r) - tail, value, float(u)) if n > 0 else 0.0
        high = _where(lambda r: tail - too_few(r), value, float(u))
        method = "exact Poisson limits averaged over the corrections' uncertainty"
    if by.resolving_time_s > 0.0:
        method += ", dead time taken off"
    return Estimate(
        value,
        float(u),
        min(max(low, 0.0), value),
        max(high, value),
        coverage,
        "1/s",
        n,
        method,
    )


def _where(rising: Callable[[float], float], start: float, step: float) -> float:
    """Where a rising function of a rate ≥ 0 crosses zero: 0 if it starts above, inf if never."""
    if rising(0.0) >= 0.0:
        return 0.0
    low, high = 0.0, start + 4.0 * step
    for _ in range(60):
        if rising(high) >= 0.0:
            break
        low, high = high, high * 4.0
    else:
        return float("inf")
    for _ in range(80):
        middle = 0.5 * (low + high)
        if rising(middle) >= 0.0:
            high = middle
        else:
            low = middle
        if high - low <= 1e-10 * high:
            break
    return 0.5 * (low + high)
