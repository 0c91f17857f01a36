"""Is it a counter at all? Noise, music, speech and key beeps get a warning instead of a rate."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray
from scipy.ndimage import maximum_filter1d

from counterproof.signals.clicks.detector import ClickDetector
from counterproof.signals.clicks.shape import ClickShape
from counterproof.signals.clicks.tones import hop_size

Floats = NDArray[np.float64]
Bools = NDArray[np.bool_]

FEWEST = 4
"""Fewer clicks than this teach no shape."""
BURST_S = 0.02
BURSTS = 0.3
"""Share of events in bursts beyond chance; more than a bad tube's double pulses."""
EVENTS = 200
BEATS = 8.0
ONE_IN = 1e-4
"""How often events at random may seem to keep time."""


def believed(detector: ClickDetector) -> list[int]:
    """Return which of the voices that a detector found can be counters, none for no counter."""
    voices = np.concatenate([*detector.voices, np.empty(0, np.int64)])
    times = np.concatenate([*detector.times, np.empty(0)])
    scores = np.concatenate([*detector.scores, np.empty(0)])
    misfits = np.concatenate([*detector.misfits, np.empty(0)])
    cut = np.concatenate([*detector.cut, np.zeros(1, bool)])
    hop_s = hop_size(detector.band.rate_hz) / detector.band.rate_hz

    def good(voice: int) -> bool:
        mine = voices == voice
        shape = detector.learned.shapes[voice]
        return not at_tone_edges(times[mine], cut, hop_s) and plausible(
            shape, np.sort(times[mine]), scores[mine], misfits[mine]
        )

    return [voice for voice in range(len(detector.learned.shapes)) if good(voice)]


def at_tone_edges(times: Floats, cut: Bools, hop_s: float) -> bool:
    """Tell whether most events lie, far beyond chance, where tones were cut out.

    Clicks know nothing of tones: such events are tones being switched on and off.

    Args:
        times: event times in s, shape (n,).
        cut: where tones were cut, one entry per ``hop_s``.
        hop_s: its step in s.
    """
    near = maximum_filter1d(cut.astype(np.uint8), 13) > 0
    beside = near[np.clip((times / hop_s).astype(np.int64), 0, near.size - 1)]
    share = float(near.mean())
    inside = int(beside.sum())
    expected = (times.size - inside + 1.0) * share / max(1.0 - share, 1e-9)
    beyond = inside > 3.0 * expected + 4.0 * float(np.sqrt(expected + 0.5))
    return beyond and inside > 0.5 * times.size


def plausible(shape: ClickShape, times: Floats, scores: Floats, misfits: Floats) -> bool:
    """Tell clicks from noise, music and speech by how well and how randomly they come."""
    if times.size < FEWEST:
        return False
    middle = float(np.median(scores))
    if times.size < 200 and middle < 9.0:
        return False
    if middle < 15.0 and float(np.quantile(misfits, 0.9)) > 1.2 and times.size < 200:
        return False
    # a room adds less to a click than a knock rings on
    if times.size < 200 and early_share(shape) < 0.5:
        return False
    gaps = np.diff(times)
    # chance makes intervals as scattered as they are long; a beat does not
    scatter = float(gaps.std() / gaps.mean())
    if times.size > 20 and scatter < 0.5 and early_share(shape) < 0.6:
        return False
    if in_bursts(gaps):
        return False
    # a pulse generator strikes at every beat, a tune leaves some out
    return not (scatter > 0.15 and in_time(times))


def in_bursts(gaps: Floats) -> bool:
    """Tell whether far more events than at random follow another within a moment."""
    at_random = -np.expm1(-BURST_S / max(float(gaps.mean()), 1e-9))
    return bool((gaps < BURST_S).mean() > at_random + BURSTS)


def in_time(times: Floats) -> bool:
    """Tell whether events keep to the beats of one tempo, as those of a counter never do.

    Rayleigh's test over beats of 0.1 to 2 s: for n events at random n R² exceeds x with
    probability exp(-x) at each tempo (Lord Rayleigh, Phil. Mag. 10 (1880) 73).

    Args:
        times: ascending event times in s, shape (n,); the first EVENTS of them are used.
    """
    some = times[:EVENTS] - times[0]
    # over at least so many beats, else the stretch itself looks like one
    slowest = max(0.5, BEATS / float(some[-1]))
    tempi = np.arange(slowest, 10.0, 0.25 / float(some[-1]))
    if tempi.size == 0:
        return False
    best = max(
        float(np.abs(np.exp(2j * np.pi * part[:, None] * some).mean(axis=1)).max())
        for part in np.array_split(tempi, 1 + tempi.size // 500)
    )
    return bool(some.size * best**2 > np.log(tempi.size / ONE_IN))


def early_share(shape: ClickShape) -> float:
    """Return the share of a shape's energy within 6 ms of its onset."""
    energy = shape.waveform**2
    first = round(shape.onset_s * shape.rate_hz)
    return float(energy[first : first + round(6e-3 * shape.rate_hz)].sum() / energy.sum())
