"""The response of click and room: least squares over all clicks, and what its tail is worth."""

from __future__ import annotations

from typing import Any

import numpy as np
from numba import njit
from numpy.typing import NDArray
from scipy.linalg import solve_toeplitz
from scipy.ndimage import uniform_filter1d

from counterproof.signals.clicks.front import Samples
from counterproof.signals.clicks.pursuit import STEPS

Floats = NDArray[np.float64]
Ints = NDArray[np.int64]

_TAPS = 16
_FIRST = -7
RIDGE = 1e-3
MOST = 400
"""About so many clicks are enough for a response."""


def _delay_taps() -> Floats:
    """Windowed-sinc weights for every sub-sample phase, shape (STEPS, _TAPS)."""
    at = np.arange(_FIRST, _FIRST + _TAPS)[None, :] - np.arange(STEPS)[:, None] / STEPS
    return np.asarray(np.sinc(at) * np.cos(0.5 * np.pi * at / 9.0) ** 2)


@njit(cache=True)
def _normal_equations(
    x: Any, starts: Any, amplitudes: Any, taps: Any, auto: Any, cross: Any
) -> None:
    """Add up autocorrelation of the spike train and its correlation with the signal."""
    length = cross.size
    steps, width = taps.shape
    for e in range(starts.size):
        base = starts[e] // steps
        row = taps[starts[e] - base * steps]
        for q in range(width):
            weight = amplitudes[e] * row[q]
            lo = base + _FIRST + q
            for i in range(max(0, -lo), min(length, x.size - lo)):
                cross[i] += weight * x[lo + i]
        for j in range(e, starts.size):
            other = starts[j] // steps
            if other - base >= length + width:
                break
            far = taps[starts[j] - other * steps]
            product = amplitudes[e] * amplitudes[j]
            for p in range(width):
                for q in range(width):
                    lag = other + q - base - p
                    if j == e:
                        if 0 <= lag < length:
                            auto[lag] += product * row[p] * far[q]
                    else:
                        if 0 <= lag < length:
                            auto[lag] += product * row[p] * far[q]
                        if 0 <= -lag < length:
                            auto[-lag] += product * row[p] * far[q]


def solve_response(x: Samples, starts: Ints, amplitudes: Floats, length: int) -> Floats:
    """Least-squares response that, placed at the starts, explains ``x`` best, shape (length,).

    Args:
        x: signal, shape (n,).
        starts: starts in 1/STEPS samples, ascending, shape (m,).
        amplitudes: amplitudes, shape (m,).
        length: samples of the response.
    """
    if starts.size > MOST:
        # one stretch in the middle: what overlaps must stay together
        middle = slice((starts.size - MOST) // 2, (starts.size + MOST) // 2)
        first, last = int(starts[middle][0]) // STEPS, int(starts[middle][-1]) // STEPS
        x = x[max(0, first - length) : last + length]
        starts = starts - max(0, first - length) * STEPS
        inside = (starts > -length * STEPS) & (starts < x.size * STEPS)
        starts, amplitudes = starts[inside], amplitudes[inside]
    auto, cross = np.zeros(length), np.zeros(length)
    weights = np.ascontiguousarray(amplitudes, np.float64)
    _normal_equations(x, np.ascontiguousarray(starts), weights, _delay_taps(), auto, cross)
    auto[0] = auto[0] * (1.0 + RIDGE) + 1e-30
    return np.asarray(solve_toeplitz(auto, cross))


def tapered(response: Floats, noise: float, rate: float) -> Floats:
    """Shrink what does not stand out of the noise, and let the ends fade, shape (n,)."""
    power = uniform_filter1d(response**2, max(3, round(2e-3 * rate)))
    gain = np.clip(1.0 - 2.0 * noise / np.maximum(power, 1e-30), 0.0, 1.0)
    fade = np.ones(response.size)
    rise, fall = round(1e-3 * rate), response.size // 8
    fade[:rise] = np.linspace(0.0, 1.0, rise)
    fade[-fall:] = np.linspace(1.0, 0.0, fall)
    return np.asarray(response * gain * fade)
