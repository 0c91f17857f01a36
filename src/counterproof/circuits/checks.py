"""What every circuit function asks of its numbers."""

from __future__ import annotations

import numpy as np
from numpy.typing import ArrayLike, NDArray

from counterproof.errors import UserError
from counterproof.texts import text

Floats = NDArray[np.float64]


def positive(name: str, value: ArrayLike) -> Floats:
    """Return ``value`` as an array if it is finite and above zero everywhere.

    Raises:
        UserError: if it is not; ``name`` is the key of the quantity's name in the catalogue.
    """
    array = np.asarray(value, dtype=np.float64)
    if not np.all(np.isfinite(array) & (array > 0)):
        raise UserError(text("circuits.positive", what=text(f"circuits.what.{name}")))
    return array


def not_negative(name: str, value: ArrayLike) -> Floats:
    """Return ``value`` as an array if it is finite and not below zero anywhere.

    Raises:
        UserError: if it is not; ``name`` is the key of the quantity's name in the catalogue.
    """
    array = np.asarray(value, dtype=np.float64)
    if not np.all(np.isfinite(array) & (array >= 0)):
        raise UserError(text("circuits.not_negative", what=text(f"circuits.what.{name}")))
    return array
