"""Whitening: the noise between the clicks gets the same power at every frequency.

The matched filter is the best detector only in white noise. The noise spectrum is the median over
short frames, which clicks hardly move; a share of the clicks' own spectrum is added, because what
codecs and noise suppression spoil is proportional to it.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray
from scipy.fft import irfft, next_fast_len, rfft
from scipy.ndimage import uniform_filter1d
from scipy.signal import oaconvolve

from counterproof.signals.clicks.front import Band, Samples

Floats = NDArray[np.float64]

FRAME_S = 0.020
REACH_S = 0.005
CLICK_SHARE = 0.003
MOST_FRAMES = 800


def frame_powers(samples: Samples, rate_hz: float) -> Floats:
    """Return the power spectra of short frames, shape (frames, bins)."""
    size = 2 * round(FRAME_S * rate_hz / 2)
    hop = size // 2
    count = (samples.size - size) // hop + 1
    if count < 1:
        padded = np.pad(samples, (0, size - samples.size))
        return frame_powers(padded, rate_hz)
    frames = np.lib.stride_tricks.sliding_window_view(samples, size)[::hop]
    frames = frames[:: max(1, count // MOST_FRAMES)]
    window = np.hanning(size).astype(np.float32)
    spectra = rfft(frames * window, axis=1)
    return np.asarray(spectra.real**2 + spectra.imag**2, np.float64) / float((window**2).sum())


def quiet_spectrum(powers: Floats) -> Floats:
    """Return the median of the frames' power spectra, as a mean's equal, shape (bins,)."""
    return np.asarray(uniform_filter1d(np.median(powers, axis=0) / np.log(2.0), 3))


def loud_spectrum(powers: Floats) -> Floats:
    """Return the mean power spectrum of the loudest frames, which hold clicks, shape (bins,)."""
    total = powers.sum(axis=1)
    loud = powers[total >= np.quantile(total, 0.97)].mean(axis=0)
    return np.asarray(uniform_filter1d(loud, 7))


def noise_spectrum(quiet: Floats, loud: Floats) -> Floats:
    """Estimate the power spectrum to whiten against, shape (bins,).

    Args:
        quiet: the noise between the clicks, from :func:`quiet_spectrum`.
        loud: the clicks and all, from :func:`loud_spectrum`.
    """
    spectrum = quiet + CLICK_SHARE * loud
    return np.asarray(spectrum + 1e-4 * spectrum.max() + 1e-14)


def whitening_taps(spectrum: Floats, band: Band) -> NDArray[np.float32]:
    """Return a symmetric filter that whitens noise of the given spectrum within the band.

    Args:
        spectrum: noise power at equally spaced frequencies from 0 to half the working rate.
        band: the working band; nothing passes outside it.
    """
    size = 2 * (spectrum.size - 1)
    freq = np.arange(spectrum.size) * band.rate_hz / size
    edge = 0.04 * band.rate_hz
    rise = np.clip((freq - 0.6 * band.low_hz) / (0.6 * band.low_hz), 0.0, 1.0)
    fall = np.clip((band.high_hz + 0.5 * edge - freq) / edge, 0.0, 1.0)
    gain = np.sin(0.5 * np.pi * rise) ** 2 * np.sin(0.5 * np.pi * fall) ** 2 / np.sqrt(spectrum)
    response = np.roll(irfft(gain), size // 2)
    reach = min(round(REACH_S * band.rate_hz), size // 2 - 1)
    taps = response[size // 2 - reach : size // 2 + reach + 1] * np.hanning(2 * reach + 3)[1:-1]
    return np.asarray(taps, np.float32)


def filtered(samples: Samples, taps: NDArray[np.float32]) -> Samples:
    """Apply a symmetric filter without delay; the output has the input's length."""
    return np.asarray(oaconvolve(samples, taps, mode="same"), np.float32)


class Filter:
    """The same for many pieces of one length: the taps are transformed once."""

    def __init__(self, taps: NDArray[np.float32], length: int) -> None:
        """Prepare for pieces of at most ``length`` samples."""
        self._half = taps.size // 2
        self._size = next_fast_len(length + taps.size - 1, real=True)
        self._response = rfft(taps, self._size)
        self._length = length

    def __call__(self, samples: Samples) -> Samples:
        """Return the filtered piece, of the piece's own length."""
        assert samples.size <= self._length
        out = irfft(rfft(samples, self._size) * self._response, self._size)
        return np.asarray(out[self._half : self._half + samples.size], np.float32)
