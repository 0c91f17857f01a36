"""Take steady tones off: key beeps, alarms, held notes and vowels.

In overlapping short frames a tone turns its phase evenly and keeps its strength, so that the
middle of three spectra is the geometric mean of its neighbours; clicks at random times are not.
Bins that obey this and stand out of the noise are cut out of the signal, with the frames at the
tone's edges, where it is switched on and off.
"""

from __future__ import annotations

from typing import Any

import numpy as np
from numba import njit
from numpy.typing import NDArray
from scipy.fft import irfft, rfft

from counterproof.signals.clicks.front import Samples

Floats = NDArray[np.float64]

FRAME_S = 0.020
OVERLAP = 4
STAND_OUT = 30.0
"""Power over the noise from which a bin can be a tone."""
EVEN = 0.35
EDGE_FRAMES = 4
GAP_FRAMES = 8


def tone_context(rate_hz: float) -> int:
    """Samples on either side of a stretch that decide about tones in it."""
    return 16 * hop_size(rate_hz)


def hop_size(rate_hz: float) -> int:
    """Samples from one frame to the next."""
    return round(FRAME_S * rate_hz / OVERLAP)


@njit(cache=True)
def _mask(z: Any, least: Any, even: float, edge: int, gap: int) -> tuple[Any, bool]:
    """Mark the bins that belong to tones, shape (frames, bins)."""
    frames, bins = z.shape
    core = np.zeros((frames, bins), np.bool_)
    some = False
    for t in range(1, frames - 1):
        for f in range(2, bins - 2):
            here = z[t, f]
            power = here.real * here.real + here.imag * here.imag
            if power < least[f]:
                continue
            square = here * here
            product = z[t - 1, f] * z[t + 1, f]
            off = product - square
            if off.real * off.real + off.imag * off.imag < (even * power) ** 2:
                core[t, f] = True
                some = True
    mask = np.zeros((frames, bins), np.bool_)
    if not some:
        return mask, False
    some = False
    for f in range(2, bins - 2):
        # a tone is even in at least three frames of a row, in this bin or the next
        last = -1000
        start = -1
        run = 0
        for t in range(frames):
            if core[t, f]:
                if t - last <= gap and start >= 0:
                    run += 1
                else:
                    start = t
                    run = 1
                last = t
            if start >= 0 and (t - last > gap or t == frames - 1):
                # of the frames from first to last a good share must be even
                if run >= 4 and 2 * run >= last - start + 1:
                    some = True
                    for u in range(max(0, start - edge), min(frames, last + edge + 1)):
                        for g in range(f - 2, f + 3):
                            mask[u, g] = True
                start = -1
    return mask, some


def without_tones(
    samples: Samples, spectrum: Floats, rate_hz: float
) -> tuple[Samples, NDArray[np.bool_]]:
    """Return the samples with steady tones cut out, shape (n,), and where that was done.

    The second array tells it for every hop of :func:`hop_size` samples.

    Args:
        samples: signal at the working rate, shape (n,).
        spectrum: its noise power spectrum at equally spaced frequencies up to half the rate.
        rate_hz: the working rate.
    """
    hop = hop_size(rate_hz)
    size = OVERLAP * hop
    hops = samples.size // hop + 1
    if samples.size < 3 * size:
        return samples, np.zeros(hops, bool)
    padded = np.concatenate([np.zeros(size, np.float32), samples, np.zeros(2 * size, np.float32)])
    frames = np.lib.stride_tricks.sliding_window_view(padded, size)[::hop]
    window = np.hanning(size + 1)[:-1].astype(np.float32)
    z = rfft(frames * window, axis=1)
    grid = np.linspace(0.0, 1.0, z.shape[1])
    noise = np.interp(grid, np.linspace(0.0, 1.0, spectrum.size), spectrum)
    least = (STAND_OUT * noise * float((window**2).sum())).astype(np.float32)
    mask, some = _mask(z, least, EVEN, EDGE_FRAMES, GAP_FRAMES)
    if not some:
        return samples, np.zeros(hops, bool)
    out = padded.copy()
    rows = np.flatnonzero(mask.any(axis=1))
    pieces = irfft(np.where(mask[rows], z[rows], 0.0), size, axis=1) * (window / 1.5)
    for row, piece in zip(rows, pieces, strict=True):
        out[row * hop : row * hop + size] -= piece
    # a frame spans OVERLAP hops, and the first one begins that many before the samples
    touched = mask.any(axis=1)
    cut = np.zeros(hops, bool)
    for row in np.flatnonzero(touched):
        cut[max(0, row - OVERLAP) : row] = True
    return np.asarray(out[size : size + samples.size], np.float32), cut
