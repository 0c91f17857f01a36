"""The number to enter in a menu, and what remains wrong afterwards."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray


@dataclass(frozen=True, slots=True)
class BestStep:
    """Best menu value and the relative error reading/true − 1 that remains at each level."""

    value: float
    worst: float
    remaining: NDArray[np.float64]


def best_step(
    true_usv_h: NDArray[np.float64],
    reading_usv_h: NDArray[np.float64],
    adjustable: NDArray[np.bool_],
    *,
    present: float,
    low: float,
    high: float,
    step: float,
) -> BestStep:
    """Return the menu value with the smallest worst error, by trying every step.

    The factor is in counts per dose, so a reading goes as its inverse. Levels that are not
    ``adjustable`` (below the switch, say) keep their error.

    Args:
        true_usv_h: true dose rates, shape (levels,).
        reading_usv_h: readings with the factor at ``present``, same shape.
        adjustable: where the factor works, same shape.
        present: factor during the readings.
        low: lowest value of the menu.
        high: highest value.
        step: its step.

    Raises:
        ValueError: if the bounds or the step cannot make a menu, or no level is adjustable.
    """
    if not 0 < low <= high or step <= 0 or present <= 0:
        raise ValueError("the menu needs 0 < low <= high, a positive step and a positive factor")
    if not adjustable.any():
        raise ValueError("the setting works at none of the levels")
    values = low + step * np.arange(int((high - low) / step + 1e-9) + 1)
    gain = np.where(adjustable[None, :], present / values[:, None], 1.0)
    errors = gain * reading_usv_h / true_usv_h - 1.0
    # judged where the factor works: elsewhere a larger error would hide every difference
    best = int(np.argmin(np.abs(errors[:, adjustable]).max(axis=1)))
    return BestStep(float(values[best]), float(np.abs(errors[best]).max()), errors[best])
