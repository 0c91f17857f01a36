"""What makes a group of matches the clicks of one box: shape, loudness, independence."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray
from scipy.fft import rfft

from counterproof.signals.clicks.pursuit import STEPS
from counterproof.signals.clicks.shape import ClickShape, onset_and_length
from counterproof.signals.clicks.whitening import filtered

Floats = NDArray[np.float64]
Ints = NDArray[np.int64]

FIRST_REACH = 1.2
LOWEST_HZ, LOWEST_SHORT_HZ = 550.0, 420.0
"""Least mean frequency of a click, and of one that dies within 14 ms."""


def click_like(response: Floats, rate: float) -> bool:
    """Tell a click, whose sound dies within milliseconds, from a beep, a note or a thud."""
    onset, _ = onset_and_length(response, rate)

    def power_between(first_s: float, last_s: float) -> float:
        cut = response[round((onset + first_s) * rate) : round((onset + last_s) * rate)]
        return float(np.mean(cut**2)) if cut.size else np.inf

    early = power_between(0.0, 6e-3)
    late = power_between(14e-3, 28e-3)
    if late > 0.8 * early or power_between(30e-3, 50e-3) > 0.45 * early:
        return False
    cut = response[round(onset * rate) : round((onset + 6e-3) * rate)]
    power = np.abs(rfft(cut * np.hanning(cut.size), 1024)) ** 2
    freq = np.arange(power.size) * rate / 1024
    lowest = LOWEST_SHORT_HZ if late < 0.05 * early else LOWEST_HZ
    return bool((freq * power).sum() > lowest * power.sum())


def own_window(response: Floats, rate: float) -> tuple[int, int]:
    """Return first and last sample of the click itself within its template."""
    onset, length = onset_and_length(response, rate)
    first = round((onset - 0.3e-3) * rate)
    return max(0, first), round((onset + max(2.5e-3, min(2.0 * length, 8e-3))) * rate)


def without_echoes(starts: Ints, amplitudes: Floats, rate: float) -> NDArray[np.bool_]:
    """Mark the events to keep: followers at one fixed distance are echoes of what precedes."""
    keep = np.ones(starts.size, bool)
    if starts.size < 6:
        return keep
    time = starts / STEPS
    reach = 45e-3 * rate
    pairs_i: list[Ints] = []
    pairs_j: list[Ints] = []
    for step in range(1, 12):
        i = np.arange(starts.size - step)
        near = time[i + step] - time[i] < reach
        weaker = amplitudes[i + step] < 1.1 * amplitudes[i]
        pairs_i.append(i[near & weaker])
        pairs_j.append(i[near & weaker] + step)
    i, j = np.concatenate(pairs_i), np.concatenate(pairs_j)
    if i.size == 0:
        return keep
    width = 0.2e-3 * rate
    bins = ((time[j] - time[i]) / width).astype(np.int64)
    counts = np.bincount(bins, minlength=int(reach / width) + 2)
    both = counts[:-1] + counts[1:]
    usual = np.median(both)
    limit = max(0.12 * starts.size, usual + 6.0 * np.sqrt(usual + 1.0), 3.0)
    for b in np.flatnonzero(both > limit):
        echo = (bins == b) | (bins == b + 1)
        keep[j[echo]] = False
    return keep


def usual_loudness(amplitudes: Floats, around: float) -> NDArray[np.bool_]:
    """Mark the matches that are as loud as clicks: one log-normal crowd, weak noise left out.

    Args:
        amplitudes: amplitudes of the matches, shape (n,).
        around: where to look for the crowd, such as the loudness of the matches that looked
            alike; where nothing is near it, the median weighted by amplitude.
    """
    logs = np.log(np.maximum(amplitudes, 1e-12))
    if logs.size < 3:
        return np.ones(logs.size, bool)
    middle = float(np.log(around))
    crowd = np.abs(logs - middle) < FIRST_REACH
    if crowd.sum() < 3:
        order = np.argsort(logs)
        weight = np.cumsum(amplitudes[order])
        middle = float(logs[order][np.searchsorted(weight, 0.5 * weight[-1])])
        crowd = np.abs(logs - middle) < FIRST_REACH
    for _ in range(8):
        middle = float(np.median(logs[crowd]))
        spread = 1.4826 * float(np.median(np.abs(logs[crowd] - middle)))
        reach = min(max(3.5 * spread, 1.0), 2.0)
        again = np.abs(logs - middle) < reach
        if not again.any() or bool((again == crowd).all()):
            break
        crowd = again
    return crowd


def likeness(one: Floats, other: Floats, rate: float) -> float:
    """Return the highest correlation of one click's own window with another click's sound."""
    first, last = own_window(one, rate)
    short = one[first:last]
    match = np.correlate(other, short, "valid")
    energy = np.convolve(other**2, np.ones(short.size), "valid")
    return float((match / np.sqrt((energy + 0.05 * energy.max()) * (short**2).sum())).max())


def echo_of(waves: list[Floats], wave: Floats, taps: NDArray[np.float32], rate: float) -> bool:
    """Tell whether a response is one of those already known, begun later or earlier."""
    own = own_window(wave, rate)
    short = filtered(wave.astype(np.float32), taps)[own[0] : own[1]].astype(np.float64)
    for other in waves:
        long = filtered(other.astype(np.float32), taps).astype(np.float64)
        match = np.correlate(long, short, "valid")
        energy = np.convolve(long**2, np.ones(short.size), "valid")
        height = match / np.sqrt((energy + 0.01 * energy.max()) * (short**2).sum())
        if height.max() > 0.6:
            return True
    return False


def another_box(
    shape: ClickShape, times: Floats, misfit: float, main: ClickShape, main_times: Floats
) -> bool:
    """Tell a second counter from echoes, remnants and noises that look like one."""
    if (
        shape.count < max(8, 0.1 * main.count)
        or misfit > 0.5
        or shape.spread > 0.6
        or shape.length_s > 8e-3
    ):
        return False
    if likeness(shape.waveform, main.waveform, shape.rate_hz) > 0.6:
        return False
    # a second counter knows nothing of the first: its clicks do not follow the first one's
    span = float(max(times[-1], main_times[-1])) + 1e-9
    reach = 0.040
    chance = 1.0 - np.exp(-main.count / span * 2.0 * reach)
    near = np.searchsorted(main_times, times + reach) - np.searchsorted(main_times, times - reach)
    share = float(np.mean(near > 0))
    return bool(share - chance < 3.0 * np.sqrt(chance * (1.0 - chance) / times.size) + 0.02)
