"""When the display really changed: regular refreshes behind rounded or over-frequent readings.

Also stretches in which a recording fell silent, which must not be read as 'no pulses'.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from counterproof.counting.changepoints import find_changes
from counterproof.forensics.lattice import printed_step
from counterproof.forensics.paired import Joined, PairedRun

Floats = NDArray[np.float64]

ENOUGH_CHANGES = 20


@dataclass(frozen=True)
class Refresh:
    """Period of the display's new numbers in s with 95 % limits, and how it was found."""

    period_s: float
    low_s: float
    high_s: float
    from_log: bool


def regular_times(times_s: Floats) -> Floats | None:
    """Return the times a + b·k behind ``times_s`` if rounding alone explains the difference.

    Missing entries are allowed. ``None`` if the times are not regular to their printed digits.
    """
    if times_s.size < 10:
        return None
    pace = float(np.median(np.diff(times_s)))
    if pace <= 0:
        return None
    half = 0.5 * printed_step(times_s)
    k = np.concatenate(([0.0], np.cumsum(np.round(np.diff(times_s) / pace))))
    if np.unique(k).size < k.size:
        return None
    line = float(np.polynomial.polynomial.polyfit(k, times_s, 1)[1])

    def strip(slope: float) -> tuple[float, float]:
        """Return the middle and half width of the strip that holds all times at a slope."""
        rest = times_s - slope * k
        low, high = float(rest.min()), float(rest.max())
        return 0.5 * (low + high), 0.5 * (high - low)

    # rounding is bounded, not normal: the narrowest strip finds the line better than least squares
    reach = 4.0 * half / max(float(k[-1]), 1.0)
    low, high = line - reach, line + reach
    for _ in range(60):
        third = (high - low) / 3.0
        if strip(low + third)[1] < strip(high - third)[1]:
            high -= third
        else:
            low += third
    slope = 0.5 * (low + high)
    middle, width = strip(slope)
    if width > 1.001 * half + 1e-9:
        return None
    return np.asarray(middle + slope * k)


def steady_period(run: PairedRun) -> tuple[float, float, float] | None:
    """Find a refresh slower than the readings from the times at which the number changed.

    Changes come at one phase of the refresh; the period with the strongest common phase
    (Rayleigh's R) is taken, the longest among equals.

    Returns:
        Period, phase and R, or ``None`` if the display changes as often as it was read.
    """
    t, v = run.reading_times_s, run.readings_usv_h
    changed = t[1:][np.diff(v) != 0]
    if changed.size < ENOUGH_CHANGES:
        return None
    pace = float(np.median(np.diff(t)))
    shortest = float(np.quantile(np.diff(changed), 0.05))
    if pace <= 0 or shortest < 1.4 * pace:
        return None
    span = float(changed[-1] - changed[0])
    periods = 1.0 / np.arange(1.0 / (1.15 * shortest), 1.0 / (1.6 * pace), 0.2 / span)
    if periods.size == 0 or periods.size > 200_000:
        return None
    some = changed[:: max(1, changed.size // 400)]
    turn = np.array([np.abs(np.exp(2j * np.pi * some / p).mean()) for p in periods])
    best = float(turn.max())
    if best < 0.6:
        return None
    near = np.flatnonzero(turn > 0.9 * best)
    period = float(periods[near[np.argmax(periods[near])]])
    around = np.abs(periods / period - 1.0) < 2.0 * period / span
    period = float(periods[around][np.argmax(turn[around])])
    phase = float(np.angle(np.exp(2j * np.pi * changed / period).mean()) / (2 * np.pi) * period)
    return period, phase % period, best


def tidy(run: PairedRun) -> tuple[PairedRun, Refresh | None]:
    """Return the run with one reading per new number, at the best known time, and the refresh.

    Numbers that were read several times between two refreshes are one observation, not several.
    """
    t, v = run.reading_times_s, run.readings_usv_h
    if t.size < 10:
        return run, None
    steady = steady_period(run)
    if steady is not None:
        period, phase, _ = steady
        pace = float(np.median(np.diff(t)))
        cell = np.floor((t - phase + pace) / period).astype(np.int64)
        last = np.flatnonzero(np.diff(cell, append=cell[-1] + 1) != 0)
        times = np.asarray(phase - 0.5 * pace + period * cell[last], dtype=np.float64)
        width = pace / max(float(t[-1] - t[0]) / period, 1.0)
        refresh = Refresh(period, period - width, period + width, True)
        return replace(run, reading_times_s=times, readings_usv_h=v[last]), refresh
    regular = regular_times(t)
    if regular is None:
        return run, None
    pace = float(np.median(np.diff(regular)))
    width = printed_step(t) / max((t[-1] - t[0]) / pace, 1.0)
    often = float(np.mean(np.diff(v) != 0)) > 0.2
    each = Refresh(pace, pace - width, pace + width, False) if often else None
    return replace(run, reading_times_s=regular), each


def level_changes(data: Joined) -> Floats:
    """Return stretches (start, end) of 5 s around each change of the pulse rate, shape (m, 2), s.

    Taken for gaps they set aside what an estimator held from before: a box that was switched on
    anew for every level knows nothing of the level before.
    """
    found = []
    for start, end in zip(data.starts, data.ends, strict=True):
        edges = np.arange(start, end + 1e-9, 5.0)
        if edges.size < 4:
            continue
        counts = np.histogram(data.pulses, edges)[0]
        for change in find_changes(counts, np.full(counts.size, 5.0), 1e-4).changes:
            at = start + change.time_s
            found.append((at - 2.5, at + 2.5))
    return np.array(found).reshape(-1, 2)


def silences(pulse_times_s: Floats, duration_s: float) -> Floats:
    """Return stretches (start, end) too silent to be chance, shape (m, 2), s.

    A silence counts if even the slower of the two rates beside it makes it less likely than
    10⁻¹¹ per interval, and it lasts at least 3 s.
    """
    n = pulse_times_s.size
    if n < 60:
        return np.empty((0, 2))
    edges = np.concatenate(([0.0], pulse_times_s, [duration_s]))
    wait = np.diff(edges)
    found = []
    for i in np.flatnonzero(wait > 3.0):
        before, after = wait[max(i - 25, 0) : i], wait[i + 1 : i + 26]
        rates = [
            np.log(2.0) / max(float(np.median(w)), 1e-6) for w in (before, after) if w.size > 9
        ]
        if rates and wait[i] * min(rates) > 25.0:
            found.append((edges[i], edges[i + 1]))
    return np.array(found).reshape(-1, 2)
