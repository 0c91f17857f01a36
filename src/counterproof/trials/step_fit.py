"""A display's step response: shapes, their least squares, and how far counting scatters the scale.

A display that averages counts scatters with its level, and neighbouring readings share counts. The
standard uncertainty of the fitted time scale is therefore taken from the covariance that the shape
itself gives to a Poisson rate λ before and after the step (Campbell's theorem for shot noise with
the weight h; A. Papoulis, Probability, Random Variables and Stochastic Processes; from memory)::

    C(t, t') = ∫ λ(s) h(t - s) h(t' - s) ds

carried through the weighted least squares, (J'WJ)⁻¹ J'WCWJ (J'WJ)⁻¹, with the residuals' size;
the uncertainty of the moment of the step is carried through likewise.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy.special import stdtrit

Floats = NDArray[np.float64]
SHAPES = ("ramp", "exponential")
TO_90 = {"ramp": 0.9, "exponential": math.log(10.0)}
LEAST_LEVEL = 0.1  # of the higher level: below it rounding, not counting, scatters
_MOST = 600  # readings that enter the covariance


@dataclass(frozen=True)
class Fitted:
    """One shape's least squares.

    Args:
        shape: ``"ramp"`` or ``"exponential"``.
        scale: its time scale in s: length of the window, or time constant.
        start: level before the step.
        jump: how far it goes.
        squares: weighted sum of squares.
        sigma: standard deviation of a reading at the higher level.
        ln_u: standard uncertainty of ln(scale).
        free: readings that count as independent, less three.
    """

    shape: str
    scale: float
    start: float
    jump: float
    squares: float
    sigma: float
    ln_u: float
    free: float

    def ends(self) -> tuple[float, float]:
        """Return the 95 % limits of the time to 90 % in s."""
        reach = math.exp(float(stdtrit(self.free, 0.975)) * self.ln_u)
        value = TO_90[self.shape] * self.scale
        return value / reach, value * reach


def progress(shape: str, scale: float, after_s: Floats) -> Floats:
    """Return the share of the step shown a time after it."""
    late = np.maximum(after_s, 0.0)
    if shape == "ramp":
        return np.clip(late / scale, 0.0, 1.0)
    return np.asarray(1.0 - np.exp(-late / scale), dtype=np.float64)


def covariance(shape: str, scale: float, before: float, after: float, t: Floats) -> Floats:
    """Return the covariance of readings of a Poisson rate that steps at 0, shape (n, n).

    Args:
        shape: of the display's weight.
        scale: its time scale in s.
        before: rate before the step.
        after: rate after it.
        t: times of the readings after the step in s, shape (n,).
    """
    first, second = t[:, None], t[None, :]
    early = np.minimum(first, second)
    if shape == "ramp":
        start = np.maximum(first, second) - scale
        past = np.clip(np.minimum(early, 0.0) - start, 0.0, None)
        since = np.clip(early - np.maximum(start, 0.0), 0.0, None)
        return np.asarray((before * past + after * since) / scale**2)
    whole = np.exp(-np.abs(first - second) / scale)
    # what of it was gathered before the step has faded since
    faded = np.exp(-(first + second - 2.0 * np.minimum(early, 0.0)) / scale)
    return np.asarray(
        (before * faded + after * np.where(early > 0.0, whole - faded, 0.0)) / scale / 2
    )


def fit_shape(
    shape: str, scales: Floats, t: Floats, y: Floats, refresh: float, moment_u: float
) -> Fitted:
    """Fit one shape to readings by weighted least squares, the weights from a first fit.

    Args:
        shape: of the display.
        scales: time scales to try in s.
        t: times after the step in s, shape (n,).
        y: readings, shape (n,).
        refresh: seconds from one reading to the next.
        moment_u: standard uncertainty of the moment of the step in s.
    """
    weight = np.ones(t.size)
    shares = np.stack([progress(shape, float(s), t) for s in scales])
    for _ in range(2):
        all_squares, starts, jumps = _levels(shares, y, weight)
        at = int(all_squares.argmin())
        level = np.abs(starts[at] + jumps[at] * shares[at])
        weight = 1.0 / np.maximum(level / (float(level.max()) or 1.0), LEAST_LEVEL)
    all_squares, starts, jumps = _levels(shares, y, weight)
    at = int(all_squares.argmin())
    squares, start, jump = float(all_squares[at]), float(starts[at]), float(jumps[at])
    scale = float(scales[at])
    shared = max(1.0, scale * (1.0 if shape == "ramp" else 2.0) / refresh)
    free = max(t.size / shared - 3.0, 1.0)
    variance = squares / t.size * (free + 3.0) / free
    ln_u = _ln_u(shape, scale, (start, jump), t, weight, variance, moment_u)
    return Fitted(shape, scale, start, jump, squares, math.sqrt(variance), ln_u, free)


def _ln_u(
    shape: str,
    scale: float,
    levels: tuple[float, float],
    t: Floats,
    weight: Floats,
    variance: float,
    moment_u: float,
) -> float:
    """Standard uncertainty of ln(scale) for a given weighted variance of the readings."""
    stride = math.ceil(t.size / _MOST)
    t, weight = t[::stride], weight[::stride]
    start, jump = levels

    def shown(factor: float, late: float = 0.0) -> Floats:
        return progress(shape, scale * factor, t - late)

    by_scale = jump * (shown(1.01) - shown(1.0 / 1.01)) / (2.0 * math.log(1.01))
    design = np.stack([by_scale, np.ones(t.size), shown(1.0)], axis=1)
    top = max(abs(start), abs(start + jump))
    rates = [max(abs(x), LEAST_LEVEL * top) for x in (start, start + jump)]
    spread = covariance(shape, scale, rates[0], rates[1], t)
    spread *= variance / max(float((weight * spread.diagonal()).mean()), 1e-300)
    weighted = design * weight[:, None]
    try:
        carry = np.linalg.solve(design.T @ weighted, weighted.T)[0]
    except np.linalg.LinAlgError:
        return math.inf
    shift = float(carry @ (jump * (shown(1.0, moment_u) - shown(1.0, -moment_u)) / 2.0))
    return math.hypot(math.sqrt(max(float(carry @ spread @ carry), 0.0)), shift)


def _levels(share: Floats, y: Floats, weight: Floats) -> tuple[Floats, Floats, Floats]:
    """Weighted least squares of level before and jump for each row of shares, shape (k, n).

    Returns:
        Sums of squares, levels before and jumps, each of shape (k,).
    """
    whole = float(weight.sum())
    middle = share @ weight / whole
    centred = share - middle[:, None]
    spread = (centred * centred) @ weight
    jump = np.where(spread > 0.0, centred @ (weight * y) / np.maximum(spread, 1e-300), 0.0)
    before = float(weight @ y) / whole - jump * middle
    rest = y - before[:, None] - jump[:, None] * share
    return (rest * rest) @ weight, before, jump
