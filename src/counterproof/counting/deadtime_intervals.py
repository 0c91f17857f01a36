"""Dead time from the intervals between pulses: x = τ + exponential (+ timing error).

With perfect timing the intervals of a non-paralysable counter are a shifted exponential. Its
smallest member x₍₁₎ of n carries τ, with exact limits from an F distribution of 2 and 2n-2 degrees
of freedom (Lawless, Statistical Models and Methods for Lifetime Data, ch. 4; from memory)::

    n (x₍₁₎ - τ)/s ~ F(2, 2n-2),    s = Σ(x - x₍₁₎)/(n-1)

When each time has an error σ, an interval carries √2 σ and the smallest one is no longer τ: then
the exponentially modified normal likelihood is maximised. A paralysable counter's intervals start
at τ as well, with nearly the same density there (equal to first order in nτ).

A single spurious short interval (double pulse, chatter) ruins both: look at
:func:`counterproof.counting.intervals.short_excess` first. Zero or one count leave no interval and
are refused.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import ArrayLike
from scipy.special import log_ndtr, ndtri

from counterproof.counting.checks import Floats, checked_coverage, checked_size
from counterproof.errors import UserError
from counterproof.quantities import Estimate
from counterproof.texts import text


def dead_time_from_intervals(
    intervals_s: ArrayLike, *, timing_u_s: float = 0.0, coverage: float = 0.95
) -> Estimate:
    """Dead time in seconds from intervals between successive pulses.

    Args:
        intervals_s: intervals in seconds, shape (n,), n ≥ 3; leave out those across gaps.
        timing_u_s: standard uncertainty of each pulse's time in seconds.
        coverage: coverage of the interval: exact for perfect timing, else nominal.

    Returns:
        The dead time; an interval that reaches 0 or below means that none was resolved.

    Raises:
        UserError: for fewer than three intervals or a negative one.
    """
    x = np.asarray(intervals_s, dtype=np.float64).ravel()
    checked_size(x, 3, "intervals")
    checked_coverage(coverage)
    if not np.isfinite(x).all() or bool((x < 0).any()) or not timing_u_s >= 0.0:
        raise UserError(text("counting.interval"))
    if timing_u_s > 0.0:
        return _with_jitter(x, np.sqrt(2.0) * timing_u_s, coverage)
    n, least = x.size, float(x.min())
    unit = float((x - least).sum()) / (n - 1) / n  # s/n
    tail, half = (1.0 - coverage) / 2.0, n - 1.0

    def quantile(p: float) -> float:
        """F(2, 2n-2) in closed form."""
        return float(half * ((1.0 - p) ** (-1.0 / half) - 1.0))

    return Estimate(
        least - unit,
        unit,
        least - unit * quantile(1.0 - tail),
        least - unit * quantile(tail),
        coverage,
        "s",
        float(n),
        "shortest interval",
    )


def _with_jitter(x: Floats, s: float, coverage: float) -> Estimate:
    """Maximum likelihood of τ for intervals with a normal error of deviation ``s``."""
    n, mean, least = x.size, float(x.mean()), float(x.min())
    reach = 10.0 * s + mean / n
    # the normal tail is 1 to rounding for intervals well above any τ that is tried
    short = x[x < least + reach + 12.0 * s]

    def log_likelihood(tau: float) -> float:
        r = 1.0 / (mean - tau)  # the maximum likelihood rate, but for terms of order r s
        edge = float(log_ndtr((short - tau) / s - r * s).sum())
        return float(n * (np.log(r) + r * (tau - mean) + 0.5 * (r * s) ** 2) + edge)

    grid = np.linspace(least - reach, min(least + reach, 0.999 * mean), 100)
    values = [log_likelihood(float(g)) for g in grid]
    at = int(np.argmax(values))
    low, high = float(grid[max(at - 1, 0)]), float(grid[min(at + 1, grid.size - 1)])
    golden = (np.sqrt(5.0) - 1.0) / 2.0
    for _ in range(60):
        a, b = high - golden * (high - low), low + golden * (high - low)
        if log_likelihood(a) > log_likelihood(b):
            high = b
        else:
            low = a
    best = 0.5 * (low + high)
    z = float(ndtri(0.5 + coverage / 2.0))
    level = log_likelihood(best) - 0.5 * z * z
    down = _edge(log_likelihood, best, best - 4.0 * reach, level)
    up = _edge(log_likelihood, best, float(grid[-1]), level)
    return Estimate(
        best,
        (up - down) / (2.0 * z),
        down,
        up,
        coverage,
        "s",
        float(x.size),
        "intervals, timing error allowed for",
    )


def _edge(function: object, inside: float, outside: float, level: float) -> float:
    """Where ``function`` falls to ``level`` between two points."""
    assert callable(function)
    for _ in range(60):
        middle = 0.5 * (inside + outside)
        if function(middle) >= level:
            inside = middle
        else:
            outside = middle
    return 0.5 * (inside + outside)
