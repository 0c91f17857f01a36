"""Cubic splines in numpy alone: importing scipy's would cost half a second at the command line."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

Array = NDArray[np.float64]


class CubicSpline:
    """Not-a-knot cubic spline through (x, y); a parabola through three points, a line through two.

    Outside the points the end pieces are continued.

    Args:
        x: rising, shape (n,), n ≥ 2.
        y: shape (n,).
    """

    def __init__(self, x: Array, y: Array) -> None:
        """Solve for the first derivatives at the points."""
        self._x = np.asarray(x, dtype=np.float64)
        h, d = np.diff(self._x), np.diff(y)
        n = self._x.size
        slopes = d / h
        if n == 2:
            first = np.array([slopes[0], slopes[0]])
        elif n == 3:
            bend = (slopes[1] - slopes[0]) / (h[0] + h[1])
            first = np.array(
                [slopes[0] - bend * h[0], slopes[0] + bend * h[0], slopes[1] + bend * h[1]]
            )
        else:
            first = _not_a_knot(h, slopes)
        # y = y0 + t (c1 + t (c2 + t c3)), t = x − x0
        self._c0 = np.asarray(y, dtype=np.float64)[:-1]
        self._c1 = first[:-1]
        self._c2 = (3.0 * slopes - 2.0 * first[:-1] - first[1:]) / h
        self._c3 = (first[:-1] + first[1:] - 2.0 * slopes) / h**2

    def __call__(self, x: Array) -> Array:
        """Value at ``x``, any shape."""
        i = np.clip(np.searchsorted(self._x, x, side="right") - 1, 0, self._c0.size - 1)
        t = x - self._x[i]
        return np.asarray(
            self._c0[i] + t * (self._c1[i] + t * (self._c2[i] + t * self._c3[i])), dtype=np.float64
        )

    def integral(self) -> Array:
        """Integral from the first point to each point, shape (n,)."""
        h = np.diff(self._x)
        pieces = h * (self._c0 + h * (self._c1 / 2.0 + h * (self._c2 / 3.0 + h * self._c3 / 4.0)))
        return np.append(0.0, np.cumsum(pieces))


def _not_a_knot(h: Array, slopes: Array) -> Array:
    """First derivatives at the points, n ≥ 4."""
    n = h.size + 1
    matrix = np.zeros((n, n))
    right = np.zeros(n)
    inner = np.arange(1, n - 1)
    matrix[inner, inner - 1] = h[1:]
    matrix[inner, inner] = 2.0 * (h[:-1] + h[1:])
    matrix[inner, inner + 1] = h[:-1]
    right[inner] = 3.0 * (h[1:] * slopes[:-1] + h[:-1] * slopes[1:])
    # the third derivative is continuous at the second and the last but one point
    matrix[0, :2] = h[1], h[0] + h[1]
    both = h[0] + h[1]
    right[0] = ((h[0] + 2.0 * both) * h[1] * slopes[0] + h[0] ** 2 * slopes[1]) / both
    matrix[-1, -2:] = h[-1] + h[-2], h[-2]
    both = h[-1] + h[-2]
    right[-1] = (h[-1] ** 2 * slopes[-2] + (2.0 * both + h[-1]) * h[-2] * slopes[-1]) / both
    return np.asarray(np.linalg.solve(matrix, right), dtype=np.float64)
