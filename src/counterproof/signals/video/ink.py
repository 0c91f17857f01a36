"""Ink: how much darker (or lighter) than the paper around it each pixel is.

A grey-scale closing with an element larger than any stroke fills dark ink and leaves the paper with
its shading; what it filled is the ink ("bottom-hat"; J. Serra, *Image Analysis and Mathematical
Morphology*, 1982). Shadows, glare and flicker, being wider than strokes, go with the paper.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray
from scipy.ndimage import gaussian_filter, grey_closing, uniform_filter

from counterproof.signals.video.warp import Picture

DIGIT_ROWS = 32
"""Height of a digit in the pictures that are read."""
MARGIN_ROWS = 8
"""Rows above and below it."""
STROKE = 3
"""Pixels over which two pictures are compared: about a stroke or a dot."""
_SCALE = 160.0
"""Ink is kept as bytes: 1 is a usual stroke, 1.6 the most."""


def ink_of(picture: Picture, dark: bool, stroke_px: int) -> Picture:
    """Return the ink of a picture, in its own units of luminance, ≥ 0.

    Args:
        picture: luminance, any shape (rows, cols).
        dark: dark ink on light paper, else the reverse.
        stroke_px: side of the closing's element: wider than any stroke.
    """
    smooth = gaussian_filter(picture.astype(np.float32), 0.6)
    if not dark:
        smooth = -smooth
    paper = gaussian_filter(grey_closing(smooth, size=(stroke_px, stroke_px)), stroke_px / 4)
    ink = paper - smooth
    # the closing follows the noise's peaks, which lifts all paper a little
    return np.asarray(np.clip(ink - np.median(ink), 0, None), dtype=np.float32)


def strength(ink: Picture) -> float:
    """Return the ink's strength: what a stroke reaches, in the ink's units."""
    return float(np.quantile(uniform_filter(ink, STROKE), 0.985))


def difference(a: Picture, b: Picture) -> float:
    """Return the largest patch of ink, a stroke wide, that one picture has and the other lacks.

    0 for equal pictures, about 1 where a full stroke differs. The signed mean over a stroke's width
    is taken first, so that edges which moved by a fraction of a pixel count little.
    """
    return float(np.abs(uniform_filter(a - b, STROKE)).max())


def packed(ink: Picture) -> NDArray[np.uint8]:
    """Return ink (1 for a usual stroke) as bytes, to be kept."""
    return np.asarray(np.clip(ink * _SCALE, 0, 255), dtype=np.uint8)


def unpacked(kept: NDArray[np.uint8]) -> Picture:
    """Return the ink behind bytes from :func:`packed`."""
    return kept.astype(np.float32) / np.float32(_SCALE)
