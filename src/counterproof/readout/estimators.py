"""How a firmware turns pulses into a count rate: boxcar, exponential, fixed count, switched.

Every estimator answers one question, ``rate_per_s(pulses, at)``: what rate in 1/s does it hold at
the times ``at``? Times are seconds from switching on, and the pulses of ``(0, at]`` are known.
"""

from __future__ import annotations

from dataclasses import dataclass
from itertools import accumulate
from typing import Literal

import numpy as np
from numpy.typing import NDArray

Floats = NDArray[np.float64]
Start = Literal["elapsed", "full"]


def decayed_sum(pulse_times_s: Floats, at_s: Floats, tau_s: float) -> Floats:
    """Return Σ exp(−(t − tᵢ)/τ) over the pulses tᵢ ≤ t, for every t in ``at_s``.

    Args:
        pulse_times_s: ascending pulse times in s, shape (n,).
        at_s: ascending times in s, shape (k,).
        tau_s: time constant in s, positive.

    Returns:
        The sums, shape (k,), dimensionless.
    """
    if at_s.size == 0:
        return np.zeros(0)
    pulses = pulse_times_s[: np.searchsorted(pulse_times_s, at_s[-1], side="right")]
    slot = np.searchsorted(at_s, pulses, side="left")
    fresh = np.bincount(slot, np.exp((pulses - at_s[slot]) / tau_s), at_s.size)
    fade = np.exp(-np.diff(at_s) / tau_s)
    steps = zip(fade.tolist(), fresh[1:].tolist(), strict=True)
    sums = accumulate(steps, lambda held, step: held * step[0] + step[1], initial=float(fresh[0]))
    return np.fromiter(sums, np.float64, at_s.size)


@dataclass(frozen=True)
class Boxcar:
    """Pulses of the last ``window_s`` seconds, divided by the window.

    Relative scatter 1/√(rT). Until the window has filled, ``start`` decides what divides:
    the time ``"elapsed"`` or the ``"full"`` window.
    """

    window_s: float
    start: Start = "elapsed"

    def __post_init__(self) -> None:
        """Refuse an empty window."""
        if not self.window_s > 0:
            raise ValueError("the window must be longer than 0 s")

    def rate_per_s(self, pulse_times_s: Floats, at_s: Floats) -> Floats:
        """Return the rate in 1/s at the ascending times ``at_s``, shape (k,)."""
        last = np.searchsorted(pulse_times_s, at_s, side="right")
        first = np.searchsorted(pulse_times_s, at_s - self.window_s, side="right")
        length = np.full(at_s.shape, self.window_s)
        if self.start == "elapsed":
            length = np.clip(at_s, 1e-9, self.window_s)
        return np.asarray((last - first) / length, dtype=np.float64)


@dataclass(frozen=True)
class Exponential:
    """A rate meter with time constant ``tau_s``; relative scatter 1/√(2rτ).

    ``step_s`` is the firmware's tick: counts of each tick enter with weight 1 − exp(−step/τ).
    ``None`` is the limit of infinitely short ticks (an analogue rate meter).
    """

    tau_s: float
    step_s: float | None = None
    start: Start = "elapsed"

    def __post_init__(self) -> None:
        """Refuse a time constant or tick that is not positive."""
        if not self.tau_s > 0 or (self.step_s is not None and not self.step_s > 0):
            raise ValueError("time constant and tick must be longer than 0 s")

    def rate_per_s(self, pulse_times_s: Floats, at_s: Floats) -> Floats:
        """Return the rate in 1/s at the ascending times ``at_s``, shape (k,)."""
        if self.step_s is None:
            rate: Floats = decayed_sum(pulse_times_s, at_s, self.tau_s) / self.tau_s
            age: Floats = at_s
        else:
            tick = np.floor(at_s / self.step_s * (1 + 1e-12)).astype(np.int64)
            ends = self.step_s * np.arange(1, int(tick.max(initial=0)) + 1)
            edges = np.concatenate(([0.0], ends))
            counts = np.diff(np.searchsorted(pulse_times_s, edges, side="right"))
            fade = float(np.exp(-self.step_s / self.tau_s))
            share = (1.0 - fade) / self.step_s
            held = accumulate(counts.tolist(), lambda r, n: r * fade + share * n, initial=0.0)
            rate = np.fromiter(held, np.float64, edges.size)[tick]
            age = np.asarray(tick * self.step_s, dtype=np.float64)
        if self.start == "elapsed":
            rate = np.asarray(
                rate / np.maximum(-np.expm1(-age / self.tau_s), 1e-9), dtype=np.float64
            )
        return rate


@dataclass(frozen=True)
class FixedCount:
    """The time that the last ``pulses`` intervals took: relative scatter 1/√pulses at every rate.

    Before that many intervals exist, those that exist are used; below two pulses the rate is 0.
    """

    pulses: int

    def __post_init__(self) -> None:
        """Refuse fewer than one interval."""
        if self.pulses < 1:
            raise ValueError("a fixed-count window needs at least one interval")

    def rate_per_s(self, pulse_times_s: Floats, at_s: Floats) -> Floats:
        """Return the rate in 1/s at the ascending times ``at_s``, shape (k,)."""
        if pulse_times_s.size < 2:
            return np.zeros(at_s.shape)
        last = np.searchsorted(pulse_times_s, at_s, side="right") - 1
        first = np.maximum(last - self.pulses, 0)
        known = last >= 1
        last, first = np.where(known, last, 1), np.where(known, first, 0)
        span = np.maximum(pulse_times_s[last] - pulse_times_s[first], 1e-9)
        return np.where(known, (last - first) / span, 0.0)


@dataclass(frozen=True)
class Switched:
    """Two estimators: the ``slow`` one below ``switch_per_s`` (its own rate), else the ``fast``."""

    slow: Boxcar | Exponential | FixedCount
    fast: Boxcar | Exponential | FixedCount
    switch_per_s: float

    def rate_per_s(self, pulse_times_s: Floats, at_s: Floats) -> Floats:
        """Return the rate in 1/s at the ascending times ``at_s``, shape (k,)."""
        slow = self.slow.rate_per_s(pulse_times_s, at_s)
        fast = self.fast.rate_per_s(pulse_times_s, at_s)
        return np.where(slow < self.switch_per_s, slow, fast)


Estimator = Boxcar | Exponential | FixedCount | Switched
