"""Detection limits in counts after Currie, Anal. Chem. 40 (1968) 586.

For a blank B and a blank that was itself counted with a time τ times as long (τ → ∞: well
known), σ₀² = B(1 + 1/τ)::

    critical level         L_C = k_α σ₀
    detection limit        L_D = L_C + k_β²/2 + k_β √(k_β²/4 + L_C + σ₀²)
    determination limit    L_Q = (k_Q²/2) (1 + √(1 + 4σ₀²/k_Q²))

Equal k gives the familiar L_D = k² + 2L_C. Zero blank: L_C = 0 and L_D = k² = 2.71; the normal
approximation behind these formulas fails there, so use the exact limits for a few counts.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from scipy.special import ndtri

from counterproof.counting.checks import checked_counts, checked_coverage, checked_live


@dataclass(frozen=True, slots=True)
class CurrieLimits:
    """Currie's three levels in net counts of the sample's counting time.

    Args:
        critical: L_C; a net count above it is taken as detected.
        detection: L_D; a true net count that is detected with probability 1 - β.
        determination: L_Q; a true net count with relative standard deviation 1/k_Q.
        blank: expected blank counts in the sample's time.
    """

    critical: float
    detection: float
    determination: float
    blank: float


def paired(
    blank: float, *, alpha: float = 0.05, beta: float = 0.05, k_q: float = 10.0
) -> CurrieLimits:
    """Blank and sample counted for equal times; zero blank: see the module's head."""
    return _limits(float(checked_counts(blank)), 1.0, alpha, beta, k_q)


def known_blank(
    blank: float, *, alpha: float = 0.05, beta: float = 0.05, k_q: float = 10.0
) -> CurrieLimits:
    """Blank known without uncertainty; zero blank: see the module's head."""
    return _limits(float(checked_counts(blank)), 0.0, alpha, beta, k_q)


def unequal_times(
    blank_counts: float,
    blank_s: float,
    sample_s: float,
    *,
    alpha: float = 0.05,
    beta: float = 0.05,
    k_q: float = 10.0,
) -> CurrieLimits:
    """Blank counted for another time than the sample; zero blank: see the module's head."""
    ratio = float(checked_live(sample_s)) / float(checked_live(blank_s))
    return _limits(float(checked_counts(blank_counts)) * ratio, ratio, alpha, beta, k_q)


def _limits(blank: float, extra: float, alpha: float, beta: float, k_q: float) -> CurrieLimits:
    """``extra`` is 1/τ: the blank's own variance over that of the blank under the sample."""
    variance = blank * (1.0 + extra)
    k_a = float(ndtri(1.0 - checked_coverage(alpha)))
    k_b = float(ndtri(1.0 - checked_coverage(beta)))
    critical = k_a * np.sqrt(variance)
    detection = critical + k_b**2 / 2 + k_b * np.sqrt(k_b**2 / 4 + critical + variance)
    determination = k_q**2 / 2 * (1.0 + np.sqrt(1.0 + 4.0 * variance / k_q**2))
    return CurrieLimits(float(critical), float(detection), float(determination), blank)
