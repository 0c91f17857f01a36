"""Decide which matches are clicks: loud enough, of the right shape, of the usual loudness."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from counterproof.signals.clicks.explain import Explained, Mirrored
from counterproof.signals.clicks.learn import Learned
from counterproof.signals.clicks.pursuit import STEPS
from counterproof.signals.clicks.shape import ClickShape

Floats = NDArray[np.float64]
Bools = NDArray[np.bool_]

CROSSINGS_HZ = 3000.0
SHORTEST_RESOLVING_S = 0.8e-3
MISFIT = 1.5
"""Misfit allowed to a match at the threshold; it grows with the square of the score …"""
MISFIT_USUAL = 8.0
"""… up to this many times what is usual in the recording …"""
MISFIT_LEAST, MISFIT_MOST = 0.7, 4.0
"""… within these bounds, and by half the energy of clicks within COMPANY_S, to COMPANY_MOST more.
"""
MISFIT_PAIRS = 0.08
"""Rise of the lower bound with the rate in 1/s: two clicks within a millisecond fit ill as one."""
BEFORE_SHARE = 0.3
"""How much of what was there before a match is held against it."""
STRICT = 0.6
"""How much less than usual is forgiven where a tone was cut out: its ends look like clicks."""
COMPANY_S = 8e-3
COMPANY_SHARE = 0.5
COMPANY_MOST = 4.0
COMPANY_RISE = 0.05
"""Rise of the threshold with the logarithm of that energy: remnants lie beside loud clicks."""


def threshold_for(false_rate_per_s: float) -> float:
    """Return the height, in standard deviations, that Gaussian noise passes this often.

    Peaks of narrow-band noise exceed T at the rate f exp(-T^2/2), f being about the centre
    frequency (S. O. Rice, Mathematical analysis of random noise, 1945, section 3.3).

    Args:
        false_rate_per_s: wanted rate of false clicks, above 0.
    """
    return float(np.sqrt(2.0 * np.log(max(CROSSINGS_HZ / false_rate_per_s, 10.0))))


def quietest(shape: ClickShape) -> float:
    """Return the amplitude below which a match is not one of this counter's clicks."""
    return float(shape.loudness * np.exp(-max(4.0 * shape.spread, 1.2)))


def verdict(
    found: Explained, learned: Learned, threshold: float, rate_hz: float, beside_tones: Bools
) -> Bools:
    """Mark the matches that are clicks.

    Args:
        found: the matches in a stretch.
        learned: what is usual in this recording.
        threshold: height in standard deviations.
        rate_hz: the working rate.
        beside_tones: which matches lie where a tone was cut out, and must be the more usual.
    """
    crowd = crowded(found, learned, rate_hz)
    beside = company(found.starts, found.energies, found, rate_hz)

    def accepted(excuse: Floats) -> Bools:
        strict = np.where(beside_tones, STRICT, 1.0)
        good = acceptable(found, beside, excuse, learned, threshold, strict)
        return np.asarray(good & ~crowd)

    sure = accepted(np.zeros(found.starts.size))
    good = accepted(company(found.starts, found.energies, found, rate_hz, sure))
    return good & ~beside_louder(found, good, rate_hz)


def beside_louder(found: Explained, good: Bools, rate_hz: float) -> Bools:
    """Mark what lies so near a louder click that it is merged with it: its own is the time."""
    apart = np.abs(found.starts[:, None] - found.starts[None, :])
    near = apart < SHORTEST_RESOLVING_S * rate_hz * STEPS
    louder = found.amplitudes[None, :] > found.amplitudes[:, None]
    return np.asarray((near & louder & good).any(axis=1))


def company(
    starts: NDArray[np.int64],
    energies: Floats,
    found: Explained,
    rate_hz: float,
    which: Bools | None = None,
) -> Floats:
    """Return the energy of what sounds near each match over its own, shape (n,).

    Args:
        starts: of the matches asked about, shape (n,).
        energies: of the same.
        found: what was found there.
        rate_hz: the working rate.
        which: which of ``found`` count as company; all when ``None``.
    """
    apart = np.abs(starts[:, None] - found.starts[None, :])
    near = (apart < COMPANY_S * rate_hz * STEPS) & (apart > 0)
    if which is not None:
        near &= which
    return np.asarray((near @ found.energies) / np.maximum(energies, 1e-30))


def acceptable(
    m: Explained | Mirrored,
    beside: Floats,
    excuse: Floats,
    learned: Learned,
    threshold: float,
    strict: Floats,
) -> Bools:
    """Mark what is loud enough, and of the shape and loudness of this counter's clicks.

    A match may be quieter than usual, or fit worse, but not both.

    Args:
        m: the matches.
        beside: energy of what sounds near each, over its own.
        excuse: the same of what is surely a click, which excuses a misfit.
        learned: what is usual in this recording.
        threshold: height in standard deviations.
        strict: 1, or less for matches that must be the more usual.
    """
    middle = np.log([shape.loudness for shape in learned.shapes])[m.voices]
    reach = middle - np.log([quietest(shape) for shape in learned.shapes])[m.voices]
    least = MISFIT_LEAST + MISFIT_PAIRS * learned.rate_per_s
    cap = min(max(MISFIT_USUAL * learned.misfit, least), MISFIT_MOST)
    # what clips fits ill, but is loud; noises are seldom as loud as clicks
    logs = np.log(np.maximum(m.amplitudes, 1e-12)) - middle
    spread = np.maximum([shape.spread for shape in learned.shapes], 0.1)[m.voices]
    caps = cap + (MISFIT_MOST - cap) * np.clip(logs / spread + 0.5, 0.0, 1.0)
    allowed = np.minimum(MISFIT * (m.scores / threshold) ** 2, caps)
    allowed = allowed + np.minimum(COMPANY_SHARE * excuse, COMPANY_MOST)
    faint = np.maximum(-logs, 0.0) / reach
    # far below zero: amid a sound that was there before
    wrong = np.maximum(m.misfit, -BEFORE_SHARE * m.misfit) / np.maximum(allowed, 1e-12)
    needed = threshold * (1.0 + COMPANY_RISE * np.log1p(beside))
    return np.asarray((m.scores >= needed) & (faint**2 + wrong**2 <= strict**2))


def mirrored_clicks(
    found: Explained,
    clicks: Bools,
    learned: Learned,
    threshold: float,
    rate_hz: float,
    resolving_s: float,
) -> int:
    """Count what would pass for a click of the first voice if clicks stood upside down.

    What lies within the resolving time of a click would be merged with it and is not counted.

    Args:
        found: the matches in a stretch.
        clicks: which of them are clicks.
        learned: what is usual in this recording.
        threshold: height in standard deviations.
        rate_hz: the working rate.
        resolving_s: resolving time.
    """
    m = found.mirrored
    if m.starts.size == 0:
        return 0
    beside = company(m.starts, m.energies, found, rate_hz)
    excuse = company(m.starts, m.energies, found, rate_hz, clicks)
    strict = np.ones(m.starts.size)
    good = acceptable(m, beside, excuse, learned, threshold, strict) & (m.voices == 0)
    apart = np.abs(m.starts[good][:, None] - found.starts[clicks][None, :])
    alone = (apart > resolving_s * rate_hz * STEPS).all(axis=1)
    return int(alone.sum())


def crowded(found: Explained, learned: Learned, rate_hz: float) -> Bools:
    """Mark matches in a crowd that no counter makes: a tone explained by many clicks.

    The loudest of a crowd may be a click beside a tone, if it fits as well as clicks do.
    """
    time = found.starts / STEPS / rate_hz
    first, last = np.searchsorted(time, time - 5e-3), np.searchsorted(time, time + 5e-3)
    dense = last - first > 9
    for i in np.flatnonzero(dense):
        loudest = found.amplitudes[i] >= found.amplitudes[first[i] : last[i]].max()
        if loudest and found.misfit[i] <= max(0.3, 3.0 * learned.misfit):
            dense[i] = False
    return np.asarray(dense)
