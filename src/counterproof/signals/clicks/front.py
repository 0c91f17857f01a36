"""The front end: any sample rate to the working rate, low frequencies taken off.

Clicks of small loudspeakers and piezos live between 0.5 and 10 kHz. Everything after this module
works at 16 to 40 kHz with hum, rumble and the body of speech and knocks removed.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy.fft import irfft, next_fast_len, rfft

Samples = NDArray[np.float32]

HIGH_PASS_HZ = 350.0
LOWEST_RATE_HZ = 4000.0
LIVE_FRAME_S, FILE_FRAME_S = 0.16, 0.7
"""Length of a Fourier frame: nothing comes out until one is full, but longer ones cost less."""
_EDGE_S = 0.02


@dataclass(frozen=True)
class Band:
    """The working rate and the band of frequencies that carries the clicks.

    Args:
        sample_rate_hz: rate of the recording.
        up: the recording is interpolated by this whole number …
        down: … and thinned by this one.
        low_hz: lower edge of the band used.
        high_hz: upper edge of the band used.
    """

    sample_rate_hz: float
    up: int
    down: int
    low_hz: float
    high_hz: float

    @property
    def rate_hz(self) -> float:
        """Working sample rate."""
        return self.sample_rate_hz * self.up / self.down


def working_band(sample_rate_hz: float) -> Band:
    """Choose the working rate for a recording.

    Args:
        sample_rate_hz: rate of the recording, at least 4000.

    Raises:
        ValueError: below 4000 samples per second, where a click has no shape left.
    """
    if not sample_rate_hz >= LOWEST_RATE_HZ:
        raise ValueError(f"sample rate too low for clicks: {sample_rate_hz!r}")
    up = 1 if sample_rate_hz >= 16000.0 else int(np.ceil(16000.0 / sample_rate_hz))
    down = max(1, int(sample_rate_hz // 20000.0)) if up == 1 else 1
    rate = sample_rate_hz * up / down
    high = min(0.42 * rate, 0.46 * sample_rate_hz)
    return Band(sample_rate_hz, up, down, HIGH_PASS_HZ, high)


def _smooth_step(x: NDArray[np.float64]) -> NDArray[np.float64]:
    return np.asarray(np.sin(0.5 * np.pi * np.clip(x, 0.0, 1.0)) ** 2)


class Front:
    """Bring blocks of a recording to the working rate, with no delay.

    Blocks may have any length: inside, the signal is filtered in frames of one fixed length
    (overlap-save), so the result does not depend on how it arrived.
    """

    def __init__(self, band: Band, frame_s: float = LIVE_FRAME_S) -> None:
        """Set up the filter for a band, in frames of about a length in seconds."""
        self.band = band
        step = band.down
        self._frame = 2 * step * next_fast_len(round(frame_s * band.sample_rate_hz / 2 / step))
        self._edge = round(_EDGE_S * band.sample_rate_hz) // step * step
        freq = np.arange(self._frame // 2 + 1) * band.sample_rate_hz / self._frame
        top = 0.5 * min(band.rate_hz, band.sample_rate_hz)
        wanted = _smooth_step(freq / band.low_hz - 0.35) * _smooth_step((top - freq) / (0.08 * top))
        impulse = np.roll(irfft(wanted, self._frame), self._edge)
        impulse[2 * self._edge + 1 :] = 0.0
        impulse[: 2 * self._edge + 1] *= np.hanning(2 * self._edge + 3)[1:-1]
        self._response = rfft(np.roll(impulse, -self._edge)).astype(np.complex64)
        self._size_out = self._frame * band.up // step
        # silence before the recording, then what has not been used up yet
        self._held: list[Samples] = [np.zeros(self._edge, np.float32)]
        self._held_size = self._edge
        self._taken = 0
        self._given = 0

    @property
    def delay_s(self) -> float:
        """Longest time until a sample that was pushed is given back."""
        return (self._frame - self._edge) / self.band.sample_rate_hz

    def push(self, block: NDArray[np.floating]) -> Samples:
        """Take a block of the recording and return what is ready at the working rate."""
        piece = np.asarray(block, np.float32).ravel()
        if not np.isfinite(piece).all():
            piece = np.nan_to_num(piece, nan=0.0, posinf=0.0, neginf=0.0)
        self._taken += piece.size
        return self._put(piece)

    def finish(self) -> Samples:
        """Return the rest at the working rate; the front end is spent afterwards."""
        whole = self._taken * self.band.up // self.band.down
        before = self._given
        out = self._put(np.zeros(2 * self._frame, np.float32))
        return out[: max(0, whole - before)]

    def _put(self, piece: Samples) -> Samples:
        self._held.append(piece)
        self._held_size += piece.size
        if self._held_size < self._frame:
            return np.empty(0, np.float32)
        held = np.concatenate(self._held)
        step = self._frame - 2 * self._edge
        out = []
        at = 0
        while held.size - at >= self._frame:
            out.append(self._filter(held[at : at + self._frame]))
            at += step
        self._held = [held[at:]]
        self._held_size = held.size - at
        done = np.concatenate(out)
        self._given += done.size
        return done

    def _filter(self, frame: Samples) -> Samples:
        spectrum = rfft(frame) * self._response
        bins = self._size_out // 2 + 1
        if bins <= spectrum.size:
            spectrum = spectrum[:bins]
        else:
            spectrum = np.pad(spectrum, (0, bins - spectrum.size))
        scale = np.float32(self._size_out / self._frame)
        out = irfft(spectrum, self._size_out) * scale
        edge = self._edge * self.band.up // self.band.down
        return np.asarray(out[edge : self._size_out - edge], np.float32)
