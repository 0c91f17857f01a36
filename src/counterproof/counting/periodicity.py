"""Pulses locked to the mains: a Rayleigh test that survives a drifting frequency.

Rayleigh (Mardia & Jupp, Directional Statistics, ch. 6): for N pulses of random phase the vector sum
C = Σ e^(iωt) has E|C|² = N. The mains wanders by some hundredths of a hertz, which would wash out
the phase over a long run; so |C|² is taken over short segments and summed. With a share f of the
pulses at one phase, E(|C|² - N) = f² N(N-1) in each segment.

Double pulses raise |C|² at *every* frequency. The sums at control frequencies away from the mains
set the scale, so that bunching is not taken for pickup.

Zero counts: a train with fewer than two pulses in every segment is refused.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike
from scipy.special import gammaincc, gammainccinv

from counterproof.counting.checks import Floats, checked_size
from counterproof.errors import UserError
from counterproof.texts import text

_CONTROLS = np.array([31.3, 33.7, 36.1, 38.9, 41.3, 43.7, 67.3, 71.9, 77.7, 83.1, 87.9, 92.3])


@dataclass(frozen=True, slots=True)
class PeriodTest:
    """Rayleigh test at one frequency.

    Args:
        frequency_hz: the frequency tested.
        share: estimated share of pulses that keep one phase (0 when less than none).
        p_value: probability of so much order by chance, this frequency alone.
        seen_share: share that this run would have noticed at 1 % with a chance of about one half.
    """

    frequency_hz: float
    share: float
    p_value: float
    seen_share: float


@dataclass(frozen=True, slots=True)
class MainsTest:
    """Rayleigh tests at mains frequencies and harmonics.

    Args:
        tests: one per frequency and harmonic.
        strongest: the one with the smallest p value.
        p_value: its p value, multiplied by the number of tests.
    """

    tests: tuple[PeriodTest, ...]
    strongest: PeriodTest
    p_value: float


def rayleigh_test(times_s: ArrayLike, frequency_hz: float, segment_s: float = 10.0) -> PeriodTest:
    """Test whether pulses keep a phase of ``frequency_hz`` within segments of a run.

    Args:
        times_s: pulse times in seconds, ascending, shape (n,).
        frequency_hz: frequency to be tested.
        segment_s: the phase must hold over this long; 10 s allows a drift of some 0.03 Hz.

    Raises:
        UserError: for fewer than two pulses, or none within one segment of another.
    """
    t = np.asarray(times_s, dtype=np.float64).ravel()
    checked_size(t, 2, "pulses")
    if not (frequency_hz > 0.0 and segment_s > 0.0):
        raise UserError(text("counting.live_time"))
    segment = np.floor((t - t[0]) / segment_s).astype(np.int64)
    sizes = np.bincount(segment).astype(np.float64)
    pairs = float((sizes * (sizes - 1.0)).sum())
    if pairs == 0.0:
        raise UserError(text("counting.too_few", what="pulses in a segment", needed=2, given=1))
    n = float(t.size)
    power = _power(t, segment, frequency_hz)
    scale = max(1.0, float(np.mean([_power(t, segment, f) for f in _CONTROLS])) / n)
    # Σ|C|² has mean N and variance Σ Nₛ(Nₛ-1) by chance: a gamma with these two moments
    shape, unit = n * n / pairs, pairs / n
    p = float(gammaincc(shape, power / scale / unit))
    share = np.sqrt(max(0.0, power - scale * n) / pairs)
    seen = np.sqrt(scale * max(0.0, float(gammainccinv(shape, 0.01)) * unit - n) / pairs)
    return PeriodTest(frequency_hz, float(share), p, float(min(1.0, seen)))


def mains_test(
    times_s: ArrayLike,
    mains_hz: tuple[float, ...] = (50.0, 60.0),
    harmonics: int = 3,
    segment_s: float = 10.0,
) -> MainsTest:
    """Rayleigh tests at the mains frequencies and their harmonics.

    Args:
        times_s: pulse times in seconds, ascending.
        mains_hz: the mains frequencies that may be about.
        harmonics: 1 for the fundamental alone, 3 up to the third harmonic.
        segment_s: as in :func:`rayleigh_test`; shortened for harmonics, which drift faster.

    Raises:
        UserError: as in :func:`rayleigh_test`.
    """
    tests = tuple(
        rayleigh_test(times_s, f * h, segment_s / h)
        for f in mains_hz
        for h in range(1, harmonics + 1)
    )
    strongest = min(tests, key=lambda test: test.p_value)
    return MainsTest(tests, strongest, min(1.0, strongest.p_value * len(tests)))


def _power(t: Floats, segment: np.ndarray[tuple[int], np.dtype[np.int64]], f: float) -> float:
    """Σ over segments of |Σ e^(iωt)|²."""
    phase = 2.0 * np.pi * ((f * t) % 1.0)
    real = np.bincount(segment, weights=np.cos(phase))
    imaginary = np.bincount(segment, weights=np.sin(phase))
    return float((real**2 + imaginary**2).sum())
