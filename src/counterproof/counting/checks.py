"""Bounds on what may be called a count, a live time or a coverage, checked in one place."""

from __future__ import annotations

import numpy as np
from numpy.typing import ArrayLike, NDArray

from counterproof.errors import UserError
from counterproof.texts import text

Floats = NDArray[np.float64]


def checked_counts(counts: ArrayLike) -> Floats:
    """Return ``counts`` as floats; whole numbers are not demanded, a negative count is refused.

    Raises:
        UserError: if a count is negative, infinite or not a number.
    """
    n = np.asarray(counts, dtype=np.float64)
    if not np.isfinite(n).all() or bool((n < 0).any()):
        raise UserError(text("counting.negative_counts"))
    return n


def checked_live(live_s: ArrayLike) -> Floats:
    """Return live times (or exposures of any unit) as floats, all positive.

    Raises:
        UserError: if one is zero, negative, infinite or not a number.
    """
    t = np.asarray(live_s, dtype=np.float64)
    if not np.isfinite(t).all() or bool((t <= 0).any()):
        raise UserError(text("counting.live_time"))
    return t


def checked_coverage(coverage: float) -> float:
    """Return a probability strictly between 0 and 1.

    Raises:
        UserError: otherwise.
    """
    if not 0.0 < coverage < 1.0:
        raise UserError(text("counting.coverage", coverage=coverage))
    return coverage


def checked_size(values: Floats, needed: int, what: str) -> None:
    """Refuse a sample too short for what is asked of it.

    Raises:
        UserError: if fewer than ``needed`` values are given.
    """
    if values.size < needed:
        raise UserError(text("counting.too_few", what=what, needed=needed, given=values.size))
