"""Are the intervals between pulses exponential after the dead time, and are there double pulses?

*Exponential*: Anderson–Darling with the rate estimated from the same intervals; A² (1 + 0.6/n) and
its p value after D'Agostino & Stephens, Goodness-of-Fit Techniques (1986), table 4.14 (from memory,
checked by simulation in the tests). With an unknown dead time the shortest interval is taken off
the others and dropped: what remains is exponential again, exactly.

*Double pulses*: a Poisson counter has a constant hazard once its dead time is over. So pulses at
ages up to a window w, over the time spent at those ages, must come at the rate of those at later
ages; that is the ratio of two Poisson rates, tested exactly.

Zero counts: fewer than ten intervals are refused; they cannot show a shape.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike

from counterproof.counting.checks import Floats, checked_size
from counterproof.counting.difference import difference_of
from counterproof.counting.poisson import rate_estimate
from counterproof.counting.ratio import rate_ratio
from counterproof.errors import UserError
from counterproof.quantities import Estimate
from counterproof.texts import text


@dataclass(frozen=True, slots=True)
class IntervalTest:
    """Intervals against the exponential distribution.

    Args:
        intervals: how many were tested.
        a2: Anderson–Darling statistic, with its correction for n.
        p_value: probability of a larger one if the intervals are exponential.
        rate_per_s: rate of the fitted exponential, the true rate, in 1/s.
        dead_time_s: the shift taken off.
    """

    intervals: int
    a2: float
    p_value: float
    rate_per_s: float
    dead_time_s: float


@dataclass(frozen=True, slots=True)
class ShortExcess:
    """Pulses that follow another one too soon.

    Args:
        share: share of all pulses that are in excess at short intervals (double pulses), with its
            interval; negative when there are fewer than expected.
        window_s: the window at which the excess shows most, in seconds.
        found: intervals up to the window.
        expected: how many chance would bring.
        p_value: probability of such an excess by chance, the search over windows allowed for.
    """

    share: Estimate
    window_s: float
    found: int
    expected: float
    p_value: float


def exponential_test(intervals_s: ArrayLike, dead_time_s: float | None = 0.0) -> IntervalTest:
    """Anderson–Darling test of intervals against an exponential after a dead time.

    Args:
        intervals_s: intervals in seconds, shape (n,); leave out those across gaps.
        dead_time_s: known dead time in seconds; ``None`` when unknown.

    Raises:
        UserError: for fewer than ten intervals, or one below the stated dead time.
    """
    x = np.sort(_checked(intervals_s))
    shift = float(x[0]) if dead_time_s is None else dead_time_s
    if x[0] < shift:
        raise UserError(text("counting.below_dead_time", least=f"{x[0]:g}", dead=f"{shift:g}"))
    y = x[1:] - shift if dead_time_s is None else x - shift
    n, mean = y.size, float(y.mean())
    if mean <= 0.0:
        raise UserError(text("counting.interval"))
    z = np.maximum(y / mean, 1e-300)
    i = np.arange(1, n + 1)
    # ln F = ln(1 - e^-z), ln(1 - F) = -z
    a2 = -n - float(((2 * i - 1) * (np.log(-np.expm1(-z)) - z[::-1])).sum()) / n
    a2 *= 1.0 + 0.6 / n
    return IntervalTest(n, a2, _anderson_darling_p(a2), 1.0 / mean, shift)


def short_excess(
    intervals_s: ArrayLike, dead_time_s: float = 0.0, window_s: float | None = None
) -> ShortExcess:
    """Excess of short intervals, as double pulses make it, with the share of pulses concerned.

    Args:
        intervals_s: intervals in seconds, shape (n,); leave out those across gaps.
        dead_time_s: dead time in seconds; shorter intervals count as age 0.
        window_s: intervals up to this are short; when left out, nine windows up to half the mean
            interval are tried and the p value multiplied by nine.

    Raises:
        UserError: for fewer than ten intervals.
    """
    x = _checked(intervals_s)
    age = np.maximum(x - dead_time_s, 0.0)
    mean = float(age.mean())
    windows = (
        [window_s - dead_time_s]
        if window_s is not None
        else [0.5 * mean * 2.0**-k for k in range(9)]
    )
    best: tuple[float, float] | None = None
    for w in windows:
        if w <= 0.0:
            raise UserError(text("counting.live_time"))
        short = int((age <= w).sum())
        p = _one_sided(short, np.minimum(age, w).sum(), age.size - short, (age - w).clip(0).sum())
        if best is None or p < best[0]:
            best = (p, w)
    assert best is not None
    p, w = best
    short = int((age <= w).sum())
    at_risk, later = float(np.minimum(age, w).sum()), float((age - w).clip(0).sum())
    if later <= 0.0:
        raise UserError(text("counting.too_few", what="long intervals", needed=1, given=0))
    found = rate_estimate(short, at_risk)
    chance = rate_estimate(x.size - short, later)
    share = difference_of(found, chance).scaled(at_risk / x.size, "")
    return ShortExcess(
        share, w + dead_time_s, short, chance.value * at_risk, min(1.0, p * len(windows))
    )


def _one_sided(short: int, at_risk: float, long: int, later: float) -> float:
    """P of at least ``short`` pulses at short ages if the hazard is the same at all ages."""
    if at_risk <= 0.0 or later <= 0.0 or short == 0:
        return 1.0
    test = rate_ratio(short, at_risk, long, later)
    above = test.ratio.value > 1.0
    return test.p_value / 2.0 if above else 1.0 - test.p_value / 2.0


def _anderson_darling_p(a: float) -> float:
    if a < 0.260:
        return 1.0 - float(np.exp(-12.2204 + 67.459 * a - 110.3 * a * a))
    if a < 0.510:
        return 1.0 - float(np.exp(-6.1327 + 20.218 * a - 18.663 * a * a))
    if a < 0.950:
        return float(np.exp(0.9209 - 3.353 * a + 0.300 * a * a))
    # beyond 10 the parabola would turn upwards
    return float(np.exp(0.731 - 3.009 * min(a, 10.0) + 0.15 * min(a, 10.0) ** 2))


def _checked(intervals_s: ArrayLike) -> Floats:
    x = np.asarray(intervals_s, dtype=np.float64).ravel()
    checked_size(x, 10, "intervals")
    if not np.isfinite(x).all() or bool((x < 0).any()):
        raise UserError(text("counting.interval"))
    return x
