"""How often a display takes a new number, from the times at which it changed; clocks compared.

Changes come at one phase of the refresh. For a trial frequency f the times t_k give the resultant
R = |Σ exp(2πi f t_k)|/n (Rayleigh); it is near 1 at 1/period and its multiples, so the lowest
frequency among the strong ones is the refresh's.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from counterproof.quantities import Estimate

Floats = NDArray[np.float64]

_LEAST_CHANGES = 12
_LONGEST_S = 20.0


@dataclass(frozen=True)
class Refresh:
    """When new numbers come.

    Args:
        period: time between two, s.
        phase_s: time of one of them.
    """

    period: Estimate
    phase_s: float

    def times(self, start_s: float, end_s: float) -> Floats:
        """Return the times of new numbers within a stretch."""
        p = self.period.value
        first = np.ceil((start_s - self.phase_s) / p - 1e-9)
        last = np.floor((end_s - self.phase_s) / p + 1e-9)
        return np.asarray(self.phase_s + p * np.arange(first, last + 1))


def find_refresh(changes_s: Floats, frame_s: float) -> Refresh | None:
    """Return the refresh behind the times of changes, or ``None`` if none stands out.

    Args:
        changes_s: times at which the number changed, ascending.
        frame_s: how exactly each is known: the time between two frames.
    """
    t = np.unique(changes_s)
    if t.size < _LEAST_CHANGES:
        return None
    shortest = max(2.5 * frame_s, 0.05)
    # first on a stretch in which periods need not be known well, then on all of it
    part = t[t <= t[0] + 60 * _LONGEST_S][:150]
    length = max(float(part[-1] - part[0]), 1.0)
    f = np.arange(1.0 / _LONGEST_S, 1.0 / shortest, 0.2 / length)
    strong = _resultants(part, f)
    best = float(strong.max())
    if best < 0.6 or best**2 * part.size < 12.0:  # P(chance) ≈ exp(−n R²) times the trials
        return None
    peak = int(np.flatnonzero(strong > 0.93 * best)[0])
    while peak + 1 < f.size and strong[peak + 1] > strong[peak]:
        peak += 1
    period = 1.0 / float(f[peak])
    for reach in np.geomspace(length, max(float(t[-1] - t[0]), length), 6):
        part = t[t <= t[0] + reach]
        near = 1.0 / period + np.linspace(-0.5, 0.5, 101) / reach
        period = 1.0 / float(near[int(np.argmax(_resultants(part, near)))])
    turns = np.exp(2j * np.pi * t / period).mean()
    phase = float(np.angle(turns) / (2 * np.pi) * period)
    # a line through the changes over their counts; each is known to half a frame
    k = np.round((t - phase) / period)
    off = t - phase - k * period
    good = np.abs(off) < max(1.5 * frame_s, 0.2 * period)
    slope, start = np.polyfit(k[good], t[good], 1)
    rest = t[good] - start - slope * k[good]
    spread = max(float(rest.std()), frame_s / np.sqrt(12.0))
    u = spread / max(float(np.sqrt(((k[good] - k[good].mean()) ** 2).sum())), 1.0)
    estimate = Estimate(
        float(slope),
        u,
        float(slope) - 1.96 * u,
        float(slope) + 1.96 * u,
        0.95,
        "s",
        float(good.sum()),
        "times of changes",
    )
    # a change is seen in the first frame after it, half a frame late on average
    return Refresh(estimate, float(start))


def _resultants(t: Floats, f: Floats) -> Floats:
    out = np.empty(f.size)
    for lo in range(0, f.size, 512):
        out[lo : lo + 512] = np.abs(np.exp(2j * np.pi * np.outer(f[lo : lo + 512], t)).mean(axis=1))
    return out


def clock_offset(clicks_s: Floats, flashes_s: Floats, reach_s: float = 1.0) -> Estimate | None:
    """Return how much later flashes come than clicks of the same pulses, or ``None``.

    Pairs of one pulse pile up at one difference; all others spread evenly.

    Args:
        clicks_s: times of clicks, ascending.
        flashes_s: times of flashes, ascending.
        reach_s: largest offset looked for.
    """
    if not clicks_s.size or not flashes_s.size:
        return None
    lo = np.searchsorted(clicks_s, flashes_s - reach_s)
    hi = np.searchsorted(clicks_s, flashes_s + reach_s)
    parts = [f - clicks_s[a:b] for f, a, b in zip(flashes_s, lo, hi, strict=True)]
    off = np.sort(np.concatenate(parts))
    if off.size < 10:
        return None
    half = 0.025
    inside = np.searchsorted(off, off + half) - np.searchsorted(off, off - half)
    at = float(off[int(np.argmax(inside))])
    expected = off.size * half / reach_s
    if float(inside.max()) < expected + 6.0 * np.sqrt(expected) + 6.0:
        return None
    near = off[np.abs(off - at) < 2 * half]
    value, n = float(np.median(near)), near.size
    u = 1.25 * float(near.std()) / np.sqrt(n)
    low, high = value - 1.96 * u, value + 1.96 * u
    return Estimate(value, u, low, high, 0.95, "s", float(n), "pairs of clicks and flashes")
