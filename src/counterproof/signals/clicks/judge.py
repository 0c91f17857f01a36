"""Decide which matches are clicks: loud enough, of the right shape, of the usual loudness."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from counterproof.signals.clicks.explain import Explained, Mirrored
from counterproof.signals.clicks.learn import Learned
from counterproof.signals.clicks.pursuit import STEPS
from counterproof.signals.clicks.shape import ClickShape

Floats = NDArray[np.float64]
Bools = NDArray[np.bool_]

CROSSINGS_HZ = 3000.0
FREQUENT = 10.0
"""Clicks per second."""
SHORTEST_RESOLVING_S = 0.8e-3
MISFIT = 1.5
"""Misfit allowed to a match at the threshold; it grows with the square of the score …"""
MISFIT_USUAL = 8.0
"""… up to this many times what is usual in the recording …"""
MISFIT_LEAST, MISFIT_MOST = 0.7, 4.0
"""… within these bounds, and by half the energy of clicks within COMPANY_S, to COMPANY_MOST more.
"""
MISFIT_PAIRS = 0.15
"""Rise of the lower bound with the rate in 1/s: two clicks within a millisecond fit ill as one."""
LEAST_SPREAD = 0.2
BEFORE_SHARE = 0.3
"""How much of what was there before a match is held against it."""
FINE_MISFIT = 0.15
FINE_SCORE = 3.0
FINE_REACH = 2.0
"""What stands alone, clear of the noise and fits this well may be fainter by this factor."""
AMID = float(np.log(4.0))
"""Logarithm of a rise of the noise that counts against a match where clicks are not frequent."""
STRICT = 0.4
"""Doubt allowed where a tone was cut out, whose ends look like clicks."""
NEARLY = 4.0
"""Doubt up to which a match that is no click may yet have been one."""
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


def quietest(shape: ClickShape, rate_per_s: float) -> float:
    """Return the amplitude below which a match is not one of this counter's clicks.

    Where clicks are frequent, what resembles one more probably is one.
    """
    deep, least = (4.0, 1.4) if rate_per_s > FREQUENT else (3.5, 1.0)
    return float(shape.loudness * np.exp(-max(deep * shape.spread, least)))


@dataclass(frozen=True, eq=False)
class Verdict:
    """Which matches are clicks, and how far each is from what is usual.

    Args:
        clicks: which are clicks, shape (n,).
        doubts: 0 for the most usual click, 1 at the limit, infinite for what is too weak.
        nearly: what is as loud as clicks are, yet fits too badly, and may be a click.
    """

    clicks: Bools
    doubts: Floats
    nearly: Bools


def verdict(
    found: Explained,
    learned: Learned,
    threshold: float,
    rate_hz: float,
    beside_tones: Bools,
    resolving_s: float,
) -> Verdict:
    """Decide which matches are clicks.

    Args:
        found: the matches in a stretch.
        learned: what is usual in this recording.
        threshold: height in standard deviations.
        rate_hz: the working rate.
        beside_tones: which matches lie where a tone was cut out, and must be the more usual.
        resolving_s: resolving time.
    """
    crowd = crowded(found, learned, rate_hz)
    beside = company(found.starts, found.energies, found, rate_hz)
    limit = np.where(crowd, -1.0, np.where(beside_tones, STRICT, 1.0))
    nobody = np.zeros(found.starts.size)
    sure = doubts(found, beside, nobody, learned, threshold) <= limit
    excuse = company(found.starts, found.energies, found, rate_hz, sure)
    doubt = doubts(found, beside, excuse, learned, threshold)
    good = doubt <= limit
    clicks = good & ~beside_louder(found, good, rate_hz)
    apart = np.abs(found.starts[:, None] - found.starts[clicks][None, :])
    alone = (apart > resolving_s * rate_hz * STEPS).all(axis=1)
    usual = [s.loudness * np.exp(-max(0.7, 3.0 * s.spread)) for s in learned.shapes]
    loud = found.amplitudes > np.array(usual)[found.voices]
    nearly = alone & loud & ~crowd & (doubt > limit) & (doubt < NEARLY)
    return Verdict(clicks, doubt, nearly)


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


def doubts(
    m: Explained | Mirrored, beside: Floats, excuse: Floats, learned: Learned, threshold: float
) -> Floats:
    """Return how far matches are from the usual loudness and fit of this counter's clicks.

    A match may be quieter than usual, or fit worse, but not both.

    Args:
        m: the matches.
        beside: energy of what sounds near each, over its own.
        excuse: the same of what is surely a click, which excuses a misfit.
        learned: what is usual in this recording.
        threshold: height in standard deviations.

    Returns:
        Sum of the squared shares of what is allowed, shape (n,); infinite below the threshold.
    """
    middle = np.log([shape.loudness for shape in learned.shapes])[m.voices]
    reach = middle - np.log([quietest(s, learned.rate_per_s) for s in learned.shapes])[m.voices]
    least = MISFIT_LEAST + MISFIT_PAIRS * learned.rate_per_s
    cap = min(max(MISFIT_USUAL * learned.misfit, least), MISFIT_MOST)
    # what clips fits ill, but is loud; noises are seldom as loud as clicks
    logs = np.log(np.maximum(m.amplitudes, 1e-12)) - middle
    spread = np.maximum([shape.spread for shape in learned.shapes], LEAST_SPREAD)[m.voices]
    caps = cap + (MISFIT_MOST - cap) * np.clip(logs / spread + 1.0, 0.0, 1.0)
    allowed = np.minimum(MISFIT * (m.scores / threshold) ** 2, caps)
    allowed = allowed + np.minimum(COMPANY_SHARE * excuse, COMPANY_MOST)
    # gain control may make clicks fainter, but not fit worse
    fine = np.abs(m.misfit) <= max(FINE_MISFIT, learned.misfit)
    fine &= (m.scores >= FINE_SCORE * threshold) & (beside < 1.0)
    faint = np.maximum(-logs, 0.0) / np.where(fine, FINE_REACH * reach, reach)
    # far below zero: amid a sound that was there before
    wrong = np.maximum(m.misfit, -BEFORE_SHARE * m.misfit) / np.maximum(allowed, 1e-12)
    needed = threshold * (1.0 + COMPANY_RISE * np.log1p(beside))
    doubt = faint**2 + wrong**2
    if learned.noise > 0.0 and learned.rate_per_s < FREQUENT:
        # parts of other sounds resemble faint clicks, and lie amid the rest of the sound
        met = np.sqrt(m.energies) / np.maximum(m.scores, 1e-9) / learned.noise
        doubt += 2.0 * (faint * np.log(np.maximum(met, 1.0)) / AMID) ** 2
    return np.where(m.scores >= needed, doubt, np.inf)


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
    good = (doubts(m, beside, excuse, learned, threshold) <= 1.0) & (m.voices == 0)
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
        if loudest and found.misfit[i] <= max(0.5, 3.0 * learned.misfit):
            dense[i] = False
    return np.asarray(dense)
