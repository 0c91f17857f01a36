"""The matched filter: templates, their energies and autocorrelations, and the filter's output."""

from __future__ import annotations

from dataclasses import dataclass, field

import numpy as np
from numpy.typing import NDArray
from scipy.fft import irfft, next_fast_len, rfft

from counterproof.signals.clicks.front import Samples
from counterproof.signals.clicks.pursuit import GRID, PHASES

Floats = NDArray[np.float64]


@dataclass(frozen=True, eq=False)
class Templates:
    """Whitened templates of all voices, ready for the pursuit.

    Args:
        waves: whitened templates, shape (voices, length).
        root: root of their energies, shape (voices,).
        gram: mutual correlations by sub-grid phase, shape (voices, voices, PHASES, 2 half + 1).
        half: reach of ``gram`` in grid steps.
        fine: templates at every sub-sample phase, shape (voices, GRID PHASES, length).
    """

    waves: NDArray[np.float32]
    root: Floats
    gram: NDArray[np.float32]
    half: int
    fine: NDArray[np.float32]
    _spectra: dict[int, NDArray[np.complex64]] = field(default_factory=dict, repr=False)

    @property
    def length(self) -> int:
        """Samples of a template."""
        return int(self.waves.shape[1])

    def filters(self, size: int) -> NDArray[np.complex64]:
        """Return the matched filters' responses for transforms of one size, computed once."""
        if size not in self._spectra:
            scale = (GRID / self.root**2).astype(np.float32)
            spectra = np.conj(rfft(self.waves, size, axis=1)) * scale[:, None]
            self._spectra[size] = spectra.astype(np.complex64)
        return self._spectra[size]


def make_templates(waves: NDArray[np.floating]) -> Templates:
    """Prepare whitened templates, shape (voices, length), for the pursuit."""
    voices, length = waves.shape
    root = np.sqrt((waves.astype(np.float64) ** 2).sum(axis=1))
    size = next_fast_len(2 * length + 64, real=True)
    spectra = rfft(waves.astype(np.float64), size, axis=1)
    steps = GRID * PHASES
    half = GRID * length
    gram = np.zeros((voices, voices, PHASES, 2 * half + 1), np.float32)
    # correlations on a grid PHASES times finer than the filter's output
    offsets = np.arange(-half, half + 1) * PHASES
    for j in range(voices):
        for k in range(voices):
            product = spectra[j] * np.conj(spectra[k]) / root[k] ** 2
            fine = irfft(product, size * steps) * steps
            for phase in range(PHASES):
                # the click lies `phase` steps after its base grid point
                gram[j, k, phase] = fine[(offsets - phase) % fine.size]
    freq = np.arange(spectra.shape[1]) / size
    shifted = np.empty((voices, steps, length), np.float32)
    for phase in range(steps):
        delay = np.exp(-2j * np.pi * freq * phase / steps)
        shifted[:, phase] = irfft(spectra * delay, size, axis=1)[:, :length]
    return Templates(waves.astype(np.float32), root, gram, half, shifted)


def correlate(y: Samples, templates: Templates) -> NDArray[np.float32]:
    """Return the amplitude of a click that began at each grid point, shape (voices, GRID n).

    Args:
        y: whitened signal, shape (n,); taken as silent after its end.
        templates: the templates.
    """
    size = next_fast_len(y.size + templates.length, real=True)
    spectrum = rfft(y, size)
    out = np.empty((templates.waves.shape[0], GRID * y.size), np.float32)
    for k, response in enumerate(templates.filters(size)):
        out[k] = irfft(spectrum * response, GRID * size)[: GRID * y.size]
    return out


class Screen:
    """Whitening and matched filter in one, at the working rate: where can no click begin?"""

    def __init__(self, taps: NDArray[np.float32], templates: Templates, length: int) -> None:
        """Prepare for pieces of at most ``length`` samples."""
        self._size = next_fast_len(length, real=True)
        padded = np.zeros(self._size, np.float32)
        padded[: taps.size] = taps
        self._whiten = rfft(np.roll(padded, -(taps.size // 2)))
        match = self._whiten * templates.filters(self._size) / GRID
        self._match = match.astype(np.complex64)

    def __call__(self, piece: Samples, inner: slice) -> tuple[Samples, NDArray[np.float32]]:
        """Return the inner part of a piece whitened, and the amplitudes of clicks beginning there.

        The ends of the piece must reach beyond the inner part by a template and the taps.
        """
        spectrum = rfft(piece, self._size)
        white = irfft(spectrum * self._whiten, self._size)[inner]
        heights = irfft(spectrum * self._match, self._size, axis=1)[:, inner]
        return np.asarray(white, np.float32), np.asarray(heights, np.float32)
