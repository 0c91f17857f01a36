"""Difference of two Poisson rates, and the net rate above a background.

No exact interval of a difference exists that is both short and simple. Here the limits of the two
rates are combined (method of variance estimates recovery, Zou & Donner, Stat. Med. 27 (2008)
1693)::

    low  = d - √((r₁-l₁)² + (h₂-r₂)²)      high = d + √((h₁-r₁)² + (r₂-l₂)²)

with mid-P limits of each, which keeps the coverage near the claimed one down to a few counts.
The test of equality is the exact conditional one of :mod:`counterproof.counting.ratio`.

Zero counts: each side then has the lower limit 0 and a finite upper one, so the interval of the
difference is finite and never of zero length.
"""

from __future__ import annotations

import numpy as np

from counterproof.counting.checks import checked_live
from counterproof.counting.poisson import midp_limits
from counterproof.errors import UserError
from counterproof.quantities import Estimate
from counterproof.texts import text


def rate_difference(
    counts_1: float, live_1_s: float, counts_2: float, live_2_s: float, coverage: float = 0.95
) -> Estimate:
    """Difference r₁ - r₂ in 1/s with an approximate interval.

    With zero counts on a side its standard uncertainty is that of one count.

    Args:
        counts_1: counts of the first.
        live_1_s: its live time in seconds.
        counts_2: counts of the second.
        live_2_s: its live time in seconds.
        coverage: nominal coverage.

    Raises:
        UserError: for negative counts, live times that are not positive or a bad coverage.
    """
    return difference_of(
        _midp_rate(counts_1, live_1_s, coverage), _midp_rate(counts_2, live_2_s, coverage)
    )


def net_rate(
    gross: float, gross_s: float, background: float, background_s: float, coverage: float = 0.95
) -> Estimate:
    """Gross minus background in 1/s: :func:`rate_difference` under its usual name.

    The value may be negative; that is what an unbiased net rate does when there is nothing to
    see. For a rate known not to be negative use :mod:`counterproof.counting.iso11929`.
    """
    return rate_difference(gross, gross_s, background, background_s, coverage)


def difference_of(first: Estimate, second: Estimate) -> Estimate:
    """Difference of two independent estimates from their own intervals (approximate).

    Takes rates that are already corrected for dead time or efficiency.

    Raises:
        UserError: if the two claim different coverages.
    """
    if first.coverage != second.coverage:
        raise UserError(text("counting.coverage", coverage=second.coverage))
    value = first.value - second.value
    below = np.hypot(first.value - first.low, second.high - second.value)
    above = np.hypot(first.high - first.value, second.value - second.low)
    counts = None if first.counts is None or second.counts is None else first.counts + second.counts
    return Estimate(
        value,
        float(np.hypot(first.u, second.u)),
        float(value - below),
        float(value + above),
        first.coverage,
        first.unit,
        counts,
        "difference by recovered variances",
    )


def _midp_rate(counts: float, live_s: float, coverage: float) -> Estimate:
    low, high = midp_limits(counts, coverage)
    t = float(checked_live(live_s))
    return Estimate(
        counts / t,
        float(np.sqrt(max(counts, 1.0))) / t,
        float(low) / t,
        float(high) / t,
        coverage,
        "1/s",
        counts,
        "mid-P limits",
    )
