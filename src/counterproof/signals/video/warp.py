"""Seen through a plane's projection: sampling a picture at the places a 3×3 matrix sends us to."""

from __future__ import annotations

from typing import Any

import numpy as np
from numba import njit
from numpy.typing import NDArray

Picture = NDArray[np.float32]
Matrix = NDArray[np.float64]
Any2D = NDArray[np.float32] | NDArray[np.uint8] | NDArray[np.float64]


@njit(cache=True, nogil=True)
def _sample(source: Any, m: Any, out: Any, outside: float) -> None:
    rows, cols = source.shape
    for y in range(out.shape[0]):
        for x in range(out.shape[1]):
            w = m[2, 0] * x + m[2, 1] * y + m[2, 2]
            u = (m[0, 0] * x + m[0, 1] * y + m[0, 2]) / w
            v = (m[1, 0] * x + m[1, 1] * y + m[1, 2]) / w
            if u < 0.0 or v < 0.0 or u > cols - 1 or v > rows - 1:
                out[y, x] = outside
                continue
            i, j = int(v), int(u)
            i, j = min(i, rows - 2), min(j, cols - 2)
            a, b = v - i, u - j
            top = source[i, j] * (1.0 - b) + source[i, j + 1] * b
            low = source[i + 1, j] * (1.0 - b) + source[i + 1, j + 1] * b
            out[y, x] = top * (1.0 - a) + low * a


@njit(cache=True, nogil=True)
def _mean(source: Any, factor: int, out: Any) -> None:
    share = 1.0 / (factor * factor)
    for y in range(out.shape[0]):
        for x in range(out.shape[1]):
            total = 0.0
            for i in range(y * factor, (y + 1) * factor):
                for j in range(x * factor, (x + 1) * factor):
                    total += source[i, j]
            out[y, x] = total * share


def shrunk(source: Any2D, factor: int) -> Picture:
    """Return the picture with each ``factor`` × ``factor`` pixels averaged into one."""
    if factor <= 1:
        return source.astype(np.float32)
    rows, cols = (max(1, n // factor) for n in source.shape)
    out = np.empty((rows, cols), dtype=np.float32)
    _mean(source, factor, out)
    return out


def grown(factor: int) -> Matrix:
    """Return the matrix from a shrunk picture's pixels to those it was shrunk from.

    A small pixel is the mean of ``factor`` × ``factor``, so its middle lies (factor − 1)/2 further.
    """
    return shift_of((factor - 1) / 2, (factor - 1) / 2, factor)


def warp(source: Any2D, matrix: Matrix, shape: tuple[int, int], outside: float = 0.0) -> Picture:
    """Return the picture whose pixel (x, y) is ``source`` at ``matrix @ (x, y, 1)``, bilinear.

    Args:
        source: shape (rows, cols), at least 2 × 2; any real type.
        matrix: 3×3 projection from the result's pixels to the source's.
        shape: rows and columns of the result.
        outside: value where the matrix points beyond the source.
    """
    out = np.empty(shape, dtype=np.float32)
    _sample(source, np.ascontiguousarray(matrix, dtype=np.float64), out, outside)
    return out


def projection(here: Matrix, there: Matrix) -> Matrix:
    """Return the 3×3 matrix that sends four points ``here`` to four points ``there``.

    Args:
        here: shape (4, 2), x and y; no three of them on one line.
        there: shape (4, 2).

    Raises:
        numpy.linalg.LinAlgError: if three points lie on one line.
    """
    rows = []
    for (x, y), (u, v) in zip(here, there, strict=True):
        rows.append([x, y, 1, 0, 0, 0, -u * x, -u * y])
        rows.append([0, 0, 0, x, y, 1, -v * x, -v * y])
    solved = np.linalg.solve(np.array(rows, dtype=np.float64), np.asarray(there).reshape(-1))
    return np.append(solved, 1.0).reshape(3, 3)


def shift_of(dx: float, dy: float, scale: float = 1.0) -> Matrix:
    """Return the matrix of a scaling followed by a shift."""
    return np.array([[scale, 0.0, dx], [0.0, scale, dy], [0.0, 0.0, 1.0]])
