"""Does a count (or interval) depend on the one before it?

Serial correlation of the ranks, which asks nothing of the distribution; by chance each coefficient
is normal with mean -1/n and variance near 1/n (Wald & Wolfowitz, Ann. Math. Stat. 14 (1943) 378).
All lags together: the statistic of Ljung & Box, Biometrika 65 (1978) 297, whose χ² approximation
is too eager for short series; up to 5000 values its p value comes from 999 random orders instead.

Positive correlation of counts: a drifting rate, a smoothing firmware. Negative: a firmware that
carries a remainder over, a dead time longer than the interval. Zero counts are ranks like others;
a log in which every count is the same has no ranks and is refused.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike
from scipy.special import gammaincc, ndtr

from counterproof.counting.checks import Floats, checked_size
from counterproof.errors import UserError
from counterproof.texts import text


@dataclass(frozen=True, eq=False)
class SerialCorrelation:
    """Rank correlation with earlier values.

    Args:
        lags: 1, 2, … shape (k,).
        coefficients: correlation at each lag, the chance mean of -1/n taken out.
        u: standard deviation of a coefficient by chance, about 1/√n.
        p_first: two-sided p value at lag 1.
        p_value: p value of all lags together.
    """

    lags: np.ndarray[tuple[int], np.dtype[np.int64]]
    coefficients: Floats
    u: float
    p_first: float
    p_value: float


def serial_correlation(values: ArrayLike, lags: int = 10) -> SerialCorrelation:
    """Rank correlation of a series with itself at lags 1 … ``lags``.

    Args:
        values: counts per interval or intervals between pulses, in order, shape (n,).
        lags: how many lags, less than n/3.

    Raises:
        UserError: for fewer than 20 values, too many lags, or values all alike.
    """
    x = np.asarray(values, dtype=np.float64).ravel()
    checked_size(x, max(20, 3 * lags), "values")
    _, inverse, repeats = np.unique(x, return_inverse=True, return_counts=True)
    middle = np.cumsum(repeats) - 0.5 * (repeats + 1.0)  # ties share their mean rank
    rank = middle[inverse]
    rank = rank - rank.mean()
    power = float(rank @ rank)
    if power == 0.0:
        raise UserError(text("counting.all_alike"))
    n = x.size
    r, q = _coefficients(rank[None, :], lags)
    u = 1.0 / np.sqrt(n)
    first = 2.0 * float(ndtr(-abs(r[0, 0]) / u))
    together = float(gammaincc(lags / 2.0, q[0] / 2.0))
    if n <= 5000 and together > 1e-3:
        rng = np.random.default_rng(1943)  # fixed: the same log gives the same p value
        larger = 0
        for _ in range(9):
            orders = rng.permuted(np.broadcast_to(rank, (111, n)), axis=1)
            larger += int((_coefficients(orders, lags)[1] >= q[0]).sum())
        together = (larger + 1.0) / 1000.0
    return SerialCorrelation(np.arange(1, lags + 1), r[0], float(u), first, together)


def _coefficients(ranks: Floats, lags: int) -> tuple[Floats, Floats]:
    """Coefficients and Ljung–Box sums of centred rows, shapes (m, lags) and (m,)."""
    n = ranks.shape[1]
    power = (ranks**2).sum(axis=1)
    steps = np.arange(1, lags + 1)
    products = [(ranks[:, k:] * ranks[:, : n - k]).sum(axis=1) / power for k in steps]
    r = np.stack(products, axis=1) + (n - steps) / (n * (n - 1.0))
    return r, np.asarray(n * (n + 2.0) * (r**2 / (n - steps)).sum(axis=1))
