"""Decide which matches are clicks: loud enough, of the right shape, of the usual loudness."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from counterproof.signals.clicks.explain import STEPS, Explained
from counterproof.signals.clicks.shape import ClickShape

Floats = NDArray[np.float64]
Bools = NDArray[np.bool_]

CROSSINGS_HZ = 3000.0
MISFIT = 0.8


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
    floor = np.array([quietest(shape) for shape in shapes])
    good = found.scores >= threshold
    good &= found.misfit <= MISFIT
    good &= found.amplitudes >= floor[found.voices]
    return good & ~crowded(found)


def crowded(found: Explained, rate_hz: float = 24000.0) -> Bools:
    """Mark matches in a crowd that no counter makes: a tone explained by many clicks."""
    time = found.starts / STEPS / rate_hz
    ahead = np.searchsorted(time, time + 5e-3) - np.searchsorted(time, time - 5e-3)
    return np.asarray(ahead > 9)
