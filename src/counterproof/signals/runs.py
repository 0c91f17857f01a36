"""Stretches of a mask."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray


def runs(mask: NDArray[np.bool_]) -> NDArray[np.int64]:
    """Return where each stretch of ``True`` begins and the place after its end, shape (m, 2)."""
    steps = np.diff(np.concatenate(([0], mask.view(np.int8), [0])))
    return np.asarray(np.flatnonzero(steps).reshape(-1, 2), dtype=np.int64)
