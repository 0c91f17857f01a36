"""From a count rate to a dose rate: factors by range, thresholds with hysteresis, dead time."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

Floats = NDArray[np.float64]
Ints = NDArray[np.int64]


def held_range(count_rate_cpm: Floats, up_cpm: float, down_cpm: float) -> Ints:
    """Return 0 or 1 for each rate: 1 from ``up_cpm`` on, kept until it falls below ``down_cpm``.

    Args:
        count_rate_cpm: successive rates in cpm, shape (n,).
        up_cpm: threshold of a rising rate.
        down_cpm: threshold of a falling rate, at most ``up_cpm``.

    Returns:
        The range of each rate, shape (n,); between the thresholds the range before is kept
        (0 at the start).
    """
    if down_cpm >= up_cpm:
        return (count_rate_cpm >= up_cpm).astype(np.int64)
    decided = (count_rate_cpm >= up_cpm) | (count_rate_cpm < down_cpm)
    last = np.maximum.accumulate(np.where(decided, np.arange(count_rate_cpm.size), -1))
    return np.where(last >= 0, count_rate_cpm[last] >= up_cpm, False).astype(np.int64)


def range_of(count_rate_cpm: Floats, switches_cpm: tuple[float, ...], hysteresis: float) -> Ints:
    """Return the range (0 the lowest) that each rate of a succession falls in, shape (n,).

    ``hysteresis`` is the share by which a rate must fall below a switch before the lower range
    returns: 0.1 releases at 90 % of the switch.
    """
    ranges = np.zeros(count_rate_cpm.shape, dtype=np.int64)
    for switch in switches_cpm:
        ranges += held_range(count_rate_cpm, switch, switch * (1.0 - hysteresis))
    return ranges


def corrected_rate(rate_per_s: Floats, dead_time_s: float) -> Floats:
    """Undo a non-paralysable dead time: n = m/(1 − mτ), held at mτ = 0.99 where it diverges."""
    if dead_time_s == 0.0:
        return rate_per_s
    return np.asarray(rate_per_s / (1.0 - np.minimum(rate_per_s * dead_time_s, 0.99)))


def rounded(value: Floats, quantum: float, down: bool = False) -> Floats:
    """Return ``value`` on the lattice of ``quantum`` (0: unchanged), nearest or downwards."""
    if quantum == 0.0:
        return value
    steps = value / quantum
    # the hair's breadth keeps 0.3/0.1 = 2.9999999999999996 on the step that a person expects
    whole = np.floor(steps + 1e-9) if down else np.floor(steps + 0.5 + 1e-9)
    return np.asarray(whole * quantum, dtype=np.float64)
