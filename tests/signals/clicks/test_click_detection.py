"""Clicks of an invented counter are found where they were put."""

from __future__ import annotations

import numpy as np
import pytest
from numpy.typing import NDArray

from counterproof.signals.clicks import detect_clicks

Floats = NDArray[np.float64]


def recording(
    rate: float, seconds: float, seed: int, fs: int = 24000, hertz: float = 3200.0
) -> tuple[NDArray[np.float32], Floats]:
    """Return a plain recording of ringing clicks in hiss, and the true onsets."""
    rng = np.random.default_rng(seed)
    times = np.sort(rng.uniform(0.0, seconds, rng.poisson(rate * seconds)))
    sound = np.zeros(round(seconds * fs))
    t = np.arange(round(0.03 * fs)) / fs
    for at in times:
        first = int(np.ceil(at * fs))
        late = t[: sound.size - first] + (first / fs - at)
        loud = 0.2 * np.exp(0.3 * rng.standard_normal())
        sound[first : first + late.size] += (
            loud * np.exp(-late / 2e-3) * np.sin(2 * np.pi * hertz * late)
        )
    sound += 0.005 * rng.standard_normal(sound.size)
    return sound.astype(np.float32), times


@pytest.mark.parametrize("rate, seconds", [(2.0, 30.0), (20.0, 10.0)])
def test_every_click_is_found(rate: float, seconds: float) -> None:
    sound, times = recording(rate, seconds, seed=3)
    train = detect_clicks(sound, 24000).train
    apart = times[np.append(np.inf, np.diff(times)) > train.resolving_time_s]
    nearest = np.abs(train.times_s[:, None] - apart[None, :]).min(axis=0)
    assert (nearest < 1e-3).mean() > 0.99
    assert abs(train.count - apart.size) <= 1
