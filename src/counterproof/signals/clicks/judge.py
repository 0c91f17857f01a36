"""Decide which matches are clicks: loud enough, of the right shape, of the usual loudness."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from counterproof.signals.clicks.explain import Explained
from counterproof.signals.clicks.pursuit import STEPS
from counterproof.signals.clicks.shape import ClickShape

Floats = NDArray[np.float64]
Bools = NDArray[np.bool_]

CROSSINGS_HZ = 3000.0
MISFIT = 0.8
"""Misfit allowed to a match at the threshold; it grows with the square of the score …"""
MISFIT_MOST = 8.0
"""… up to here: what happens beside a loud click does not speak against it."""


def threshold_for(false_rate_per_s: float) -> float:
    """Return the height, in standard deviations, that Gaussian noise passes this often.

    Peaks of narrow-band noise exceed T at the rate f exp(-T^2/2), f being about the centre
    frequency (S. O. Rice, Mathematical analysis of random noise, 1945, section 3.3).

    Args:
        false_rate_per_s: wanted rate of false clicks, above 0.
    """
    return float(np.sqrt(2.0 * np.log(max(CROSSINGS_HZ / false_rate_per_s, 10.0))))


def quietest(shape: ClickShape) -> float:
    """Return the amplitude below which a match is not one of this counter's clicks."""
    return float(shape.loudness * np.exp(-max(4.0 * shape.spread, 1.2)))


def verdict(found: Explained, shapes: tuple[ClickShape, ...], threshold: float) -> Bools:
    """Mark the matches that are clicks."""
    return acceptable(
        found.amplitudes, found.voices, found.scores, found.misfit, shapes, threshold
    ) & ~crowded(found)


def acceptable(
    amplitudes: Floats,
    voices: NDArray[np.int64],
    scores: Floats,
    misfit: Floats,
    shapes: tuple[ClickShape, ...],
    threshold: float,
) -> Bools:
    """Mark what is loud enough, fits, and is as loud as this counter's clicks are."""
    floor = np.array([quietest(shape) for shape in shapes])
    allowed = np.minimum(MISFIT * (scores / threshold) ** 2, MISFIT_MOST)
    good = (scores >= threshold) & (misfit <= allowed)
    return np.asarray(good & (amplitudes >= floor[voices]))


def mirrored_clicks(found: Explained, shapes: tuple[ClickShape, ...], threshold: float) -> int:
    """Count what would pass for a click of the first voice if clicks stood upside down."""
    m = found.mirrored
    good = acceptable(m.amplitudes, m.voices, m.scores, m.misfit, shapes, threshold)
    return int((good & (m.voices == 0)).sum())


def crowded(found: Explained, rate_hz: float = 24000.0) -> Bools:
    """Mark matches in a crowd that no counter makes: a tone explained by many clicks."""
    time = found.starts / STEPS / rate_hz
    ahead = np.searchsorted(time, time + 5e-3) - np.searchsorted(time, time - 5e-3)
    return np.asarray(ahead > 9)
