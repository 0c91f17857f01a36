"""How long to count: for a wanted uncertainty, to tell two counters apart, to settle a criterion.

Times are in seconds, rates in 1/s. Rates that are planned with are guesses; the plan is as good as
they are. Zero rates cannot be planned with and are refused: no counts ever come.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

import numpy as np
from scipy.special import betaincc, ndtri, pdtr

from counterproof.counting.checks import Floats, checked_coverage, checked_live
from counterproof.errors import UserError
from counterproof.quantities import Estimate
from counterproof.texts import text

Verdict = Literal["met", "not met", "cannot tell yet"]


@dataclass(frozen=True, slots=True)
class Split:
    """How to divide a counting time between source and background.

    Args:
        gross_s: time with the source, in seconds.
        background_s: time without it.
        net_u_per_s: standard uncertainty of the net rate that results, in 1/s.
    """

    gross_s: float
    background_s: float
    net_u_per_s: float


def time_for_relative(rate_per_s: float, relative: float) -> float:
    """Time after which a rate has the relative standard uncertainty ``relative``: 1/(r x²).

    Raises:
        UserError: for a rate or share that is not positive.
    """
    return 1.0 / (_positive(rate_per_s) * _share(relative) ** 2)


def best_split(gross_per_s: float, background_per_s: float, total_s: float) -> Split:
    """Divide ``total_s`` so that the net rate is most precise: t_g/t_b = √(r_g/r_b).

    Knoll, Radiation Detection and Measurement, ch. 3 (from memory). A background of 0 gets no time.

    Raises:
        UserError: for a gross rate or a time that is not positive.
    """
    g, b = np.sqrt(_positive(gross_per_s)), np.sqrt(max(background_per_s, 0.0))
    total = float(checked_live(total_s))
    return Split(
        float(total * g / (g + b)), float(total * b / (g + b)), float((g + b) / np.sqrt(total))
    )


def split_for_relative(gross_per_s: float, background_per_s: float, relative: float) -> Split:
    """Shortest counting that gives the net rate a relative standard uncertainty.

    T = (√r_g + √r_b)² / (x (r_g - r_b))², divided as in :func:`best_split`.

    Raises:
        UserError: if the gross rate does not exceed the background, or the share is not positive.
    """
    net = _positive(gross_per_s) - background_per_s
    if net <= 0.0:
        raise UserError(
            text("counting.no_net", gross=f"{gross_per_s:g}", background=f"{background_per_s:g}")
        )
    root = np.sqrt(gross_per_s) + np.sqrt(max(background_per_s, 0.0))
    return best_split(gross_per_s, background_per_s, float((root / (_share(relative) * net)) ** 2))


def power_to_tell_apart(
    rate_1_per_s: float,
    rate_2_per_s: float,
    live_1_s: float,
    live_2_s: float,
    alpha: float = 0.05,
) -> float:
    """Probability that the exact conditional test finds two rates different at level ``alpha``.

    Sums the test's rejection probability over the Poisson distribution of the total. Totals too
    small to reject anything count as failures, as they are.

    Args:
        rate_1_per_s: first true rate in 1/s.
        rate_2_per_s: second.
        live_1_s: counting time of the first in seconds.
        live_2_s: counting time of the second.
        alpha: two-sided level of the central test.
    """
    m1 = _positive(rate_1_per_s) * float(checked_live(live_1_s))
    m2 = _positive(rate_2_per_s) * float(checked_live(live_2_s))
    tail = checked_coverage(alpha) / 2.0
    null, true = live_1_s / (live_1_s + live_2_s), m1 / (m1 + m2)
    mean = m1 + m2
    reach = 8.0 * np.sqrt(mean) + 12.0
    first, last = int(max(0.0, mean - reach)), int(mean + reach)
    # the rejection probability is a slowly varying sawtooth of the total: a few hundred totals,
    # each standing for its neighbours, are as good as all of them
    step = max(1, (last - first) // 400)
    totals = np.arange(first, last + 1, step, dtype=np.float64)
    edges = totals - 1.0
    weight = pdtr(totals + step - 1.0, mean) - np.where(
        edges < 0, 0.0, pdtr(np.maximum(edges, 0), mean)
    )
    rejects = _at_most(_largest_at_most(totals, null, tail), totals, true)
    rejects += _at_most(_largest_at_most(totals, 1.0 - null, tail), totals, 1.0 - true)
    return min(1.0, float(weight @ rejects))


def time_to_tell_apart(
    rate_1_per_s: float,
    rate_2_per_s: float,
    *,
    alpha: float = 0.05,
    power: float = 0.8,
    time_ratio: float = 1.0,
) -> float:
    """Time of the first counter after which two rates are told apart with ``power``.

    Args:
        rate_1_per_s: first true rate in 1/s.
        rate_2_per_s: second.
        alpha: two-sided level of the exact conditional test.
        power: wanted probability of finding the difference.
        time_ratio: counting time of the second over that of the first.

    Raises:
        UserError: for equal rates, which no time separates, or bad input.
    """
    r1, r2 = _positive(rate_1_per_s), _positive(rate_2_per_s)
    if r1 == r2:
        raise UserError(text("counting.alike"))
    ratio = float(checked_live(time_ratio))
    # start from the normal approximation of ln(r1/r2)
    k = float(ndtri(1.0 - checked_coverage(alpha) / 2.0) + ndtri(checked_coverage(power)))
    guess = float(k * k * (1.0 / r1 + 1.0 / (r2 * ratio)) / np.log(r1 / r2) ** 2)
    low, high = 0.2 * guess, guess

    def enough(t: float) -> bool:
        return power_to_tell_apart(r1, r2, t, t * ratio, alpha) >= power

    while not enough(high):
        low, high = high, 1.5 * high
    while enough(low):
        low, high = 0.5 * low, low
    for _ in range(40):
        middle = 0.5 * (low + high)
        if enough(middle):
            high = middle
        else:
            low = middle
        if high - low < 1e-3 * high:
            break
    return high


@dataclass(frozen=True, slots=True)
class Decision:
    """Whether a criterion is met, and how much longer it would take to tell.

    Args:
        verdict: ``"met"``, ``"not met"`` or ``"cannot tell yet"``.
        more_s: further counting time that is expected to settle it, 0 when settled; ``inf`` when
            counting alone never will, because what counting does not reduce is too uncertain.
    """

    verdict: Verdict
    more_s: float


def decide(
    estimate: Estimate,
    low: float,
    high: float,
    elapsed_s: float,
    *,
    fixed_u: float = 0.0,
) -> Decision:
    """Judge an estimate against the bounds of a criterion by its interval.

    Met when the whole interval lies within the bounds, not met when all of it lies outside,
    otherwise open. The time until it settles supposes that the value stays where it is and that
    the part of the uncertainty that comes from counting falls as 1/√t. Zero counts: the value
    stands at 0 and the interval's own length is what shrinks.

    Args:
        estimate: the value with its interval (counting and everything else included).
        low: lower bound, ``-inf`` when there is none.
        high: upper bound, ``inf`` when there is none.
        elapsed_s: counting time so far, in seconds.
        fixed_u: standard uncertainty in it that counting does not reduce.

    Raises:
        UserError: if the bounds are exchanged or the time is not positive.
    """
    if low > high:
        raise UserError(text("counting.bounds", low=low, high=high))
    t = float(checked_live(elapsed_s))
    if low <= estimate.low and estimate.high <= high:
        return Decision("met", 0.0)
    if estimate.high < low or estimate.low > high:
        return Decision("not met", 0.0)
    value = estimate.value
    below, above = value - estimate.low, estimate.high - value
    if value < low:  # heading for "not met": the upper end has to fall below the lower bound
        waits = [(low - value, above)]
    elif value > high:
        waits = [(value - high, below)]
    else:
        waits = [(value - low, below), (high - value, above)]
    more = max(_more_time(d, reach, fixed_u, estimate.coverage, t) for d, reach in waits)
    return Decision("cannot tell yet", more)


def _more_time(distance: float, reach: float, fixed_u: float, coverage: float, t: float) -> float:
    """Time until an interval that reaches ``reach`` from its value is shorter than ``distance``."""
    if reach <= distance:
        return 0.0
    if not np.isfinite(reach):
        return float("inf")
    fixed = float(ndtri(0.5 + coverage / 2.0)) * fixed_u
    left = distance**2 - fixed**2
    if left <= 0.0:
        return float("inf")
    return float(t * (max(reach**2 - fixed**2, 0.0) / left - 1.0))


def ratemeter_relative_u(rate_per_s: float, time_constant_s: float) -> float:
    """Relative standard deviation of an exponential rate meter: 1/√(2rτ)."""
    return float(1.0 / np.sqrt(2.0 * _positive(rate_per_s) * float(checked_live(time_constant_s))))


def boxcar_relative_u(rate_per_s: float, window_s: float) -> float:
    """Relative standard deviation of the mean over a window T: 1/√(rT)."""
    return float(1.0 / np.sqrt(_positive(rate_per_s) * float(checked_live(window_s))))


def ratemeter_response_s(time_constant_s: float, share: float = 0.9) -> float:
    """Time until an exponential rate meter shows ``share`` of a step: -τ ln(1-share)."""
    return float(-checked_live(time_constant_s) * np.log(1.0 - checked_coverage(share)))


def boxcar_response_s(window_s: float, share: float = 0.9) -> float:
    """Time until a boxcar shows ``share`` of a step: share·T."""
    return float(checked_live(window_s) * checked_coverage(share))


def _at_most(count: Floats, totals: Floats, p: float) -> Floats:
    """P(Bin(total, p) ≤ count); 0 below a count of 0."""
    inner = (count >= 0.0) & (count < totals)
    c = np.where(inner, count, 0.0)
    tail = betaincc(c + 1.0, np.where(inner, totals - c, 1.0), p)
    return np.asarray(np.where(inner, tail, np.where(count < 0.0, 0.0, 1.0)), dtype=np.float64)


def _largest_at_most(totals: Floats, p: float, tail: float) -> Floats:
    """Largest count c with P(Bin(total, p) ≤ c) ≤ tail, -1 when there is none."""
    low, high = np.full_like(totals, -1.0), totals.copy()
    while bool((high - low > 1).any()):
        middle = np.floor(0.5 * (low + high))
        fits = _at_most(middle, totals, p) <= tail
        low, high = np.where(fits, middle, low), np.where(fits, high, middle)
    return low


def _positive(rate: float) -> float:
    if not (np.isfinite(rate) and rate > 0.0):
        raise UserError(text("counting.rate", rate=rate))
    return float(rate)


def _share(relative: float) -> float:
    if not (np.isfinite(relative) and relative > 0.0):
        raise UserError(text("counting.relative", relative=relative))
    return float(relative)
