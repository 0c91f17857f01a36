"""The shape of a click: what was learned, in a form that can be stored and taught."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray

Floats = NDArray[np.float64]

ONSET_SHARE = 0.12


@dataclass(frozen=True, eq=False)
class ClickShape:
    """One kind of click in one room, at the working rate.

    Args:
        rate_hz: sample rate of ``waveform``.
        waveform: the click and what the room adds to it, largest sample about 1, shape (n,).
        onset_s: time of the click's onset after the first sample.
        length_s: the click's own length (envelope down to 1/e), without the room.
        loudness: typical amplitude in the recording, in full scale.
        spread: standard deviation of the logarithm of the amplitude.
        count: how many clicks it was learned from.
    """

    rate_hz: float
    waveform: Floats
    onset_s: float
    length_s: float
    loudness: float
    spread: float
    count: int

    def to_dict(self) -> dict[str, Any]:
        """Return plain numbers and lists, for JSON or TOML."""
        return {
            "rate_hz": self.rate_hz,
            "waveform": [float(v) for v in self.waveform],
            "onset_s": self.onset_s,
            "length_s": self.length_s,
            "loudness": self.loudness,
            "spread": self.spread,
            "count": self.count,
        }

    @classmethod
    def from_dict(cls, stored: dict[str, Any]) -> ClickShape:
        """Read what :meth:`to_dict` wrote.

        Raises:
            KeyError: if an entry is missing.
        """
        return cls(
            float(stored["rate_hz"]),
            np.asarray(stored["waveform"], np.float64),
            float(stored["onset_s"]),
            float(stored["length_s"]),
            float(stored["loudness"]),
            float(stored["spread"]),
            int(stored["count"]),
        )


def envelope(waveform: Floats) -> Floats:
    """Return the envelope of a waveform (magnitude of its analytic signal), shape (n,)."""
    size = waveform.size
    spectrum = np.fft.fft(waveform, 2 * size)
    spectrum[1:size] *= 2.0
    spectrum[size + 1 :] = 0.0
    return np.asarray(np.abs(np.fft.ifft(spectrum)[:size]))


def onset_and_length(waveform: Floats, rate_hz: float) -> tuple[float, float]:
    """Return onset (s after the first sample) and the click's own length (s).

    The onset is where the envelope first reaches a small share of its height; the length runs from
    there to where it first falls to 1/e, which for a damped ringing is its time constant.
    """
    env = envelope(waveform)
    top = int(np.argmax(env))
    rising = np.flatnonzero(env[: top + 1] < ONSET_SHARE * env[top])
    if rising.size:
        i = int(rising[-1])
        step = (ONSET_SHARE * env[top] - env[i]) / (env[i + 1] - env[i])
        onset = (i + step) / rate_hz
    else:
        onset = 0.0
    falling = np.flatnonzero(env[top:] < np.exp(-1.0) * env[top])
    end = (top + int(falling[0])) / rate_hz if falling.size else waveform.size / rate_hz
    return float(onset), float(end - onset)
