"""Following a display through a hand's tremor, drift and slow turning.

The first still of the marked region, with a margin, is the reference. For each later one the affine
map that lays it on the reference is found by Gauss-Newton steps on the difference of the two
pictures (inverse compositional alignment: S. Baker, I. Matthews, Int. J. Comput. Vis. 56, 2004,
221), started from the last map, and from a phase correlation where that fails (C. D. Kuglin,
D. C. Hines, Proc. IEEE Int. Conf. Cybernetics and Society, 1975, 163). Both pictures are first
freed of slow shading and scaled to their local contrast, so that exposure, flicker and glare do not
pull. What changes most, the digits, weighs least.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy import fft
from scipy.ndimage import uniform_filter

from counterproof.signals.video.warp import Matrix, Picture, grown, shift_of, shrunk, warp

HELD = 0.55
"""Correlation with the reference below which the display counts as lost."""
_WIDE = 200
"""Alignment works on pictures of about this width."""
_STEPS = 4


@dataclass(frozen=True)
class Held:
    """Where the display is in one still.

    Args:
        matrix: 3×3, from pixels of the reference still to pixels of this one.
        likeness: correlation of the two after alignment, −1…1.
    """

    matrix: Matrix
    likeness: float

    @property
    def lost(self) -> bool:
        """Whether this is not the display, or it is covered."""
        return self.likeness < HELD


class Follower:
    """Lays each still of a region on the first one."""

    def __init__(self, first: NDArray[np.uint8]) -> None:
        """Take the reference: luminance of the region with its margin."""
        self._factor = max(1, round(first.shape[1] / _WIDE))
        self._reference = self._prepared(first)
        rows, cols = self._reference.shape
        y, x = np.mgrid[0:rows, 0:cols].astype(np.float32)
        self._middle = np.array([cols / 2, rows / 2])
        down, right = np.gradient(self._reference)
        u, v = x - self._middle[0], y - self._middle[1]
        # steepest descent pictures for a11, a12, a21, a22, dx, dy
        self._slopes = np.stack([right * u, right * v, down * u, down * v, right, down]).reshape(
            6, -1
        )
        edge = np.zeros((rows, cols), dtype=np.float32)
        edge[2:-2, 2:-2] = 1.0
        self._edge = edge.ravel()
        self._restless = np.zeros(rows * cols, dtype=np.float32)
        self._weigh()
        self._map = np.eye(3)
        self._spectrum = fft.rfft2(self._reference * _window(rows, cols))
        self._seen = 0

    def follow(self, still: NDArray[np.uint8]) -> Held:
        """Return where the display is in this still (same size as the first)."""
        picture = self._prepared(still)
        found, likeness = self._descend(picture, self._map)
        if likeness < HELD + 0.15:
            again = self._descend(picture, self._shifted(picture))
            if again[1] > likeness:
                found, likeness = again
        if likeness >= HELD:
            self._map = found
            self._learn(picture, found)
        scale = grown(self._factor)
        return Held(scale @ found @ np.linalg.inv(scale), likeness)

    def _prepared(self, still: NDArray[np.uint8]) -> Picture:
        picture = shrunk(still, self._factor)
        size = max(9, picture.shape[0] // 3)
        flat = picture - uniform_filter(picture, size)
        spread = np.sqrt(uniform_filter(flat * flat, 2 * size)) + 2.0
        return np.asarray(np.clip(flat / spread, -3, 3), dtype=np.float32)

    def _weigh(self) -> None:
        self._weights: Picture = np.asarray(self._edge / (0.05 + self._restless), np.float32)
        weighted = self._slopes * self._weights
        hessian = weighted @ self._slopes.T
        hessian[np.diag_indices(6)] += 1e-6 * np.trace(hessian) / 6
        self._step = np.linalg.solve(hessian, weighted)

    def _descend(self, picture: Picture, start: Matrix) -> tuple[Matrix, float]:
        rows, cols = self._reference.shape
        found, before, likeness = start.copy(), start, -1.0
        cx, cy = self._middle
        there, back = shift_of(cx, cy), shift_of(-cx, -cy)
        reference = self._reference.ravel()
        for k in range(_STEPS + 1):
            seen = warp(picture, found, (rows, cols)).ravel()
            now = _correlation(seen, reference, self._weights)
            if k and now < likeness + 0.0005:
                return (found, now) if now > likeness else (before, likeness)
            before, likeness = found, now
            if k == _STEPS:
                break
            p = self._step @ (seen - reference)
            update = np.array([[1 + p[0], p[1], p[4]], [p[2], 1 + p[3], p[5]], [0, 0, 1.0]])
            found = found @ there @ np.linalg.inv(update) @ back
        return found, likeness

    def _shifted(self, picture: Picture) -> Matrix:
        """Return the shift that a phase correlation finds."""
        rows, cols = self._reference.shape
        cross = fft.rfft2(picture * _window(rows, cols)) * np.conj(self._spectrum)
        peak = fft.irfft2(
            cross / (np.abs(cross) + 1e-3 * np.abs(cross).max() + 1e-9), s=(rows, cols)
        )
        at = np.unravel_index(int(np.argmax(peak)), peak.shape)
        # the upper half of a spectrum's shifts are negative ones
        dy, dx = (
            int(d) - n if d > n // 2 else int(d) for d, n in zip(at, (rows, cols), strict=True)
        )
        last = self._map.copy()
        last[:2, 2] = 0.0
        last[:2, 2] = (np.array([dx, dy]) + self._middle) - (last[:2, :2] @ self._middle)
        return last

    def _learn(self, picture: Picture, found: Matrix) -> None:
        """Note how much each pixel differs from the reference, and now and then weigh anew."""
        self._seen += 1
        if self._seen % 5 and self._seen > 30:
            return
        off = warp(picture, found, self._reference.shape).ravel() - self._reference.ravel()
        share = 1.0 / min(self._seen, 60)
        self._restless += np.float32(share) * (off * off - self._restless)
        if self._seen in (3, 10, 30) or self._seen % 100 == 0:
            self._weigh()


def _window(rows: int, cols: int) -> Picture:
    return np.outer(np.hanning(rows), np.hanning(cols)).astype(np.float32)


def _correlation(a: Picture, b: Picture, w: Picture) -> float:
    total = float(w.sum())
    a = a - float(np.dot(w, a)) / total
    b = b - float(np.dot(w, b)) / total
    wa = w * a
    return float(np.dot(wa, b) / np.sqrt(np.dot(wa, a) * np.dot(w * b, b) + 1e-12))
