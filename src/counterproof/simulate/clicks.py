"""The sound of one click, and many of them at exact times.

A click is a short electric drive that sets resonances ringing. A loudspeaker is driven by a step
up and a step down, and its cone and case ring low and broad; a piezo disc is driven by an edge or
a few periods of a tone and rings high and narrow. Each click is evaluated at its own exact onset,
so that times are true to far less than a sample.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

Floats = NDArray[np.float64]
Sound = NDArray[np.float32]


@dataclass(frozen=True, eq=False)
class Click:
    """One box's click, as damped resonances struck at given instants.

    Args:
        kind: ``"loudspeaker"`` or ``"piezo"``.
        frequency_hz: resonances, shape (k,).
        decay_s: amplitude decay times, shape (k,).
        amplitude: amplitudes, shape (k,).
        strikes_s: instants after the onset at which the drive strikes, shape (m,).
        strike_gain: sign and size of each strike, shape (m,).
    """

    kind: str
    frequency_hz: Floats
    decay_s: Floats
    amplitude: Floats
    strikes_s: Floats
    strike_gain: Floats

    def wave(self, time_s: Floats) -> Floats:
        """Return the sound at times after the onset, any shape; 0 before it."""
        out = np.zeros(time_s.shape)
        for strike, gain in zip(self.strikes_s, self.strike_gain, strict=True):
            t = time_s - strike
            on = t > 0
            late = t[on]
            ring = np.zeros(late.shape)
            for f, d, a in zip(self.frequency_hz, self.decay_s, self.amplitude, strict=True):
                ring += a * np.exp(-late / d) * np.sin(2 * np.pi * f * late)
            out[on] += gain * ring
        return out

    def _at_fine_steps(self) -> tuple[Floats, Floats]:
        t = np.arange(0.0, 0.06, 1 / 96000)
        return t, self.wave(t)

    @property
    def peak(self) -> float:
        """Largest excursion."""
        return float(np.abs(self._at_fine_steps()[1]).max())

    @property
    def length_s(self) -> float:
        """Time from the onset until 99 % of the energy has passed (−20 dB remain)."""
        t, w = self._at_fine_steps()
        energy = np.cumsum(w * w)
        return float(t[np.searchsorted(energy, 0.99 * energy[-1])])


def draw_click(kind: str, rng: np.random.Generator, *, highest_hz: float = 7000.0) -> Click:
    """Draw an invented box's click.

    Args:
        kind: ``"loudspeaker"`` or ``"piezo"``.
        rng: source of randomness.
        highest_hz: resonances above this are left out (half the recording's rate, less a margin).

    Raises:
        ValueError: if the kind is unknown.
    """
    if kind == "loudspeaker":
        f = np.array(
            [rng.uniform(500, 1300), rng.uniform(1600, 3200), rng.uniform(3400, 6500)],
        )
        q = rng.uniform([2, 3, 4], [6, 10, 12])
        a = np.array([1.0, rng.uniform(0.4, 1.2), rng.uniform(0.2, 0.8)])
        width = rng.uniform(0.0003, 0.0015)
        strikes, gains = np.array([0.0, width]), np.array([1.0, -rng.uniform(0.5, 1.0)])
    elif kind == "piezo":
        base = rng.uniform(2200, 4200)
        f = base * np.array([1.0, rng.uniform(1.5, 1.9), rng.uniform(2.2, 2.9)])
        q = rng.uniform([8, 8, 8], [22, 16, 16])
        a = np.array([1.0, rng.uniform(0.1, 0.5), rng.uniform(0.05, 0.3)])
        drive = rng.uniform(0.85, 1.15) * base
        halves = int(rng.integers(1, 7))
        strikes = np.arange(halves) * 0.5 / drive
        gains = (-1.0) ** np.arange(halves)
    else:
        raise ValueError(f"no such click: {kind!r}")
    heard = f < highest_hz
    f, q, a = f[heard], q[heard], a[heard]
    return Click(kind, f, q / (np.pi * f), a, strikes, gains)


def render_clicks(
    click: Click, onsets_s: Floats, loudness: Floats, sample_rate_hz: float, samples: int
) -> Sound:
    """Return the clicks' dry sound, each of unit peak times its loudness.

    Args:
        click: the sound of one.
        onsets_s: onset times, shape (n,).
        loudness: peak of each, shape (n,).
        sample_rate_hz: sample rate.
        samples: length of the result.

    Returns:
        Sound, shape (samples,), float32.
    """
    width = int(np.ceil((click.length_s * 2.5 + 0.002) * sample_rate_hz))
    out = np.zeros(samples + width)
    scale = 1.0 / click.peak
    ticks = np.arange(width) / sample_rate_hz
    for lo in range(0, onsets_s.size, 4096):
        at = onsets_s[lo : lo + 4096] * sample_rate_hz
        first = np.ceil(at).astype(np.int64)
        late = (first - at) / sample_rate_hz
        waves = click.wave(late[:, None] + ticks[None, :])
        waves *= (scale * loudness[lo : lo + 4096])[:, None]
        inside = first < samples
        index = (first[inside, None] + np.arange(width)[None, :]).ravel()
        np.add.at(out, index, waves[inside].ravel())
    return out[:samples].astype(np.float32)
