"""The front end: any sample rate to the working rate, low frequencies taken off.

Clicks of small loudspeakers and piezos live between 1 and 10 kHz. Everything after this module
works at 16 to 32 kHz with hum, rumble and the body of speech and knocks removed.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy.signal import butter, firwin, sosfilt, upfirdn

Samples = NDArray[np.float32]

HIGH_PASS_HZ = 500.0
_BLOCK = 16384


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
    if not sample_rate_hz >= 4000.0:
        raise ValueError(f"sample rate too low for clicks: {sample_rate_hz!r}")
    up = 1 if sample_rate_hz >= 16000.0 else int(np.ceil(16000.0 / sample_rate_hz))
    down = max(1, int(sample_rate_hz // 20000.0)) if up == 1 else 1
    rate = sample_rate_hz * up / down
    high = min(0.42 * rate, 0.46 * sample_rate_hz)
    return Band(sample_rate_hz, up, down, HIGH_PASS_HZ, high)


class Front:
    """Bring blocks of a recording to the working rate, with no delay.

    Blocks may have any length: inside, the signal is cut into blocks of one fixed length, so the
    result does not depend on how it arrived.
    """

    def __init__(self, band: Band) -> None:
        """Set up the filters for a band."""
        self.band = band
        self._sos = butter(4, band.low_hz, "highpass", fs=band.rate_hz, output="sos")
        self._state = np.zeros((self._sos.shape[0], 2))
        self._taps: NDArray[np.float32] | None = None
        self._reach = 0
        if band.up > 1 or band.down > 1:
            wide = band.sample_rate_hz * band.up
            edge = 0.5 * min(band.rate_hz, band.sample_rate_hz)
            reach = 24 * max(band.up, band.down)
            # whole input samples on either side, so that every block starts on the output's grid
            self._reach = -(-reach // band.up // band.down) * band.down
            half = self._reach * band.up
            taps = firwin(2 * half + 1, edge * 0.95, fs=wide, window=("kaiser", 7.0)) * band.up
            self._taps = taps.astype(np.float32)
        self._block = _BLOCK // band.down * band.down
        self._held: list[Samples] = []
        self._held_size = 0
        self._past = np.zeros(self._reach, np.float32)
        self._skip = self._reach * band.up // band.down if self._taps is not None else 0

    def push(self, block: NDArray[np.floating]) -> Samples:
        """Take a block of the recording and return what is ready at the working rate."""
        piece = np.asarray(block, np.float32).ravel()
        if not np.isfinite(piece).all():
            piece = np.nan_to_num(piece, nan=0.0, posinf=0.0, neginf=0.0)
        self._held.append(piece)
        self._held_size += piece.size
        if self._held_size < self._block:
            return np.empty(0, np.float32)
        held = np.concatenate(self._held)
        done = held.size // self._block * self._block
        out = [self._process(held[i : i + self._block]) for i in range(0, done, self._block)]
        self._held = [held[done:]]
        self._held_size = held.size - done
        return np.concatenate(out)

    def finish(self) -> Samples:
        """Return the rest at the working rate; the front end is spent afterwards."""
        held = np.concatenate([*self._held, np.zeros(self._reach, np.float32)])
        pad = -held.size % self.band.down
        return self._process(np.concatenate([held, np.zeros(pad, np.float32)]))

    def _process(self, block: Samples) -> Samples:
        if self._taps is not None:
            # the past holds twice the filter's reach: its output there is already complete
            joined = np.concatenate([self._past, block])
            up, down = self.band.up, self.band.down
            full = upfirdn(self._taps, joined, up, down)
            reach = self._reach * up // down
            first = 2 * reach if self._past.size > self._reach else reach
            keep = full[first : first + block.size * up // down]
            self._past = joined[-2 * self._reach :]
            if self._skip:
                # the very first output belongs to the silence before the recording
                keep = full[reach + self._skip : first + block.size * up // down]
                self._skip = 0
            block = keep
        out, self._state = sosfilt(self._sos, block, zi=self._state)
        return np.asarray(out, np.float32)
