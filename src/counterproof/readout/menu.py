"""The number to enter in a menu, and what remains wrong afterwards."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

import numpy as np
from numpy.typing import NDArray

from counterproof.errors import UserError
from counterproof.texts import text

Floats = NDArray[np.float64]
Aim = Literal["worst", "weighted"]


@dataclass(frozen=True, slots=True)
class BestStep:
    """Best menu value and the relative error reading/true − 1 that remains at each level."""

    value: float
    worst: float
    remaining: Floats


def menu_values(low: float, high: float, step: float) -> Floats:
    """Return every value that a menu accepts, shape (n,), in its unit.

    Raises:
        UserError: if bounds and step make no menu.
    """
    if not 0 < low <= high or step <= 0:
        raise UserError(text("readout.menu", low=f"{low:g}", high=f"{high:g}", step=f"{step:g}"))
    return np.asarray(low + step * np.arange(int((high - low) / step + 1e-9) + 1))


def best_step(
    true_usv_h: Floats,
    reading_usv_h: Floats,
    adjustable: NDArray[np.bool_],
    *,
    present: float,
    low: float,
    high: float,
    step: float,
    aim: Aim = "worst",
    weight: Floats | None = None,
) -> BestStep:
    """Return the menu value with the smallest worst (or weighted) error, by trying every step.

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
        aim: make the largest error small, or the root mean square weighted by ``weight``.
        weight: how much each level matters, same shape; alike if ``None``.

    Raises:
        UserError: if the bounds or the step make no menu, the factor is not positive, or no level
            is adjustable.
    """
    values = menu_values(low, high, step)
    if present <= 0:
        raise UserError(text("readout.factor", value=f"{present:g}"))
    if not adjustable.any():
        raise UserError(text("readout.nowhere"))
    gain = np.where(adjustable[None, :], present / values[:, None], 1.0)
    errors = gain * reading_usv_h / true_usv_h - 1.0
    # judged where the factor works: elsewhere a larger error would hide every difference
    seen = errors[:, adjustable]
    if aim == "worst":
        cost = np.abs(seen).max(axis=1)
    else:
        w = np.ones(seen.shape[1]) if weight is None else weight[adjustable]
        cost = seen**2 @ w
    best = int(np.argmin(cost))
    return BestStep(float(values[best]), float(np.abs(errors[best]).max()), errors[best])
