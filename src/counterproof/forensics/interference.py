"""Pulses that no radiation made, or that something smoothed: four tests with their power.

Each test says what it measured and what it would have noticed: the size of effect that this run
calls disturbed with a probability of 80 %, at the level at which it is called so. A test that
could not have seen anything is not evidence of a clean counter.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from itertools import pairwise

import numpy as np
from numpy.typing import NDArray
from scipy.special import gammainc, gammaincinv, ndtri, pdtr

from counterproof.counting.changepoints import find_changes
from counterproof.counting.dispersion import Dispersion, dispersion_test
from counterproof.counting.intervals import short_excess
from counterproof.counting.periodicity import mains_test
from counterproof.signals.trains import PulseTrain

Floats = NDArray[np.float64]

FEWEST_PULSES = 150
ALARM = 0.001
"""p value below which a run is called disturbed."""
POWER = 0.8
"""Probability with which an effect of the stated size would have been noticed."""
WINDOWS = 9
"""Windows that the test of short intervals tries; its p value is multiplied by them."""
CUT = 1.5
"""Ratio of neighbouring rates from which a train is taken for one of several levels."""
DOUBLE_S = 0.002
"""False second pulses come within this time of the first's dead time (common practice, no
source): the power of the test is stated for them."""
MAINS_TESTS = 6
SEGMENT_S = 10.0


@dataclass(frozen=True)
class Disturbance:
    """One test of one pulse train.

    Args:
        kind: ``"double pulses"``, ``"mains pickup"``, ``"unsteady"`` or ``"too regular"``.
        p_value: probability of such a result without a disturbance, this test alone.
        size: measured size of the effect (share of pulses, or index of dispersion over what a
            steady field and the recording's resolving time allow).
        seen: size that this run would have noticed with a probability of 80 %; ``inf`` (0 for an
            index below 1) when none would have been.
    """

    kind: str
    p_value: float
    size: float
    seen: float

    @property
    def found(self) -> bool:
        """Whether the run is called disturbed in this way."""
        return self.p_value < ALARM


def disturbances(train: PulseTrain, alarm: float = ALARM) -> Sequence[Disturbance]:
    """Test one pulse train in a steady field; empty for fewer than 150 pulses.

    A recording's resolving time hides what is closer; gaps are left out of the intervals.

    Args:
        train: pulses of one run without a change of field.
        alarm: p value that counts, for the power alone (smaller when many runs are tested).
    """
    t = train.times_s
    if t.size < FEWEST_PULSES:
        return ()
    waits = waits_of(train)
    dead = max(train.resolving_time_s, float(waits.min()))
    double = short_excess(waits, dead)
    mains = mains_test(t)
    counts, lengths = _bins(train)
    # too much scatter is sought in two ways, so each of them gets half of what alarms
    spread = dispersion_test(counts, lengths, alpha=2.0 * alarm, power=POWER)
    seen_over = dispersion_test(counts, lengths, alpha=alarm, power=POWER).seen_over
    ratio = regularity(train)
    changes = find_changes(counts, lengths, 0.01)
    change_p = min((c.p_value for c in changes.changes), default=1.0)
    return (
        Disturbance(
            "double pulses", double.p_value, double.share.value, _double_seen(waits, dead, alarm)
        ),
        Disturbance("mains pickup", mains.p_value, mains.strongest.share, mains_seen(t, alarm)),
        Disturbance(
            "unsteady",
            min(1.0, 2.0 * min(spread.p_over, change_p)),
            spread.index / ratio,
            seen_over,
        ),
        Disturbance(
            "too regular", _p_under(spread, ratio), spread.index / ratio, spread.seen_under
        ),
    )


def level_pieces(train: PulseTrain) -> list[PulseTrain]:
    """Cut a train where its rate changes by half or more, as a source set down makes it.

    A bin on each side of a cut is left out. A train of one level comes back as it is.
    """
    if train.count < FEWEST_PULSES:
        return [train]
    edges, counts, live = _binned(train)
    found = find_changes(counts, live, 1e-4)
    rates = [r.value for r in found.rates]
    cuts = [
        c.index
        for c, before, after in zip(found.changes, rates, rates[1:], strict=False)
        if max(before, after) > CUT * max(min(before, after), 1e-9)
    ]
    if not cuts:
        return [train]
    places = [0, *cuts, edges.size - 1]
    pieces = []
    for i, (first, last) in enumerate(pairwise(places)):
        start = edges[first + (1 if i > 0 else 0)]
        end = edges[max(last - (1 if last < edges.size - 1 else 0), first)]
        if end > start:
            pieces.append(_piece(train, float(start), float(end)))
    return pieces


def _piece(train: PulseTrain, start: float, end: float) -> PulseTrain:
    t, gaps = train.times_s, np.clip(train.gaps_s, start, end) - start
    inside = t[(t >= start) & (t < end)] - start
    gaps = gaps[gaps[:, 1] > gaps[:, 0]]
    return replace(train, times_s=inside, duration_s=end - start, gaps_s=gaps)


def waits_of(train: PulseTrain) -> Floats:
    """Return the intervals between pulses in s, those across a gap left out."""
    t = train.times_s
    waits = np.diff(t)
    whole = np.ones(waits.size, dtype=bool)
    for start, end in train.gaps_s:
        whole &= ~((t[:-1] < end) & (t[1:] > start))
    return np.asarray(waits[whole], dtype=np.float64)


def regularity(train: PulseTrain) -> float:
    """Return the index of dispersion that the resolving time alone leaves, (1 − mτ)²."""
    lost = train.count / max(train.live_s, 1e-9) * train.resolving_time_s
    return max(1.0 - lost, 0.2) ** 2


def _p_under(spread: Dispersion, ratio: float) -> float:
    """Probability of so small a scatter when the resolving time alone regulates the counts."""
    if ratio > 0.98:
        return spread.p_under
    return float(gammainc(spread.dof / 2.0, spread.chi2 / ratio / 2.0))


def _double_seen(waits: Floats, dead: float, alarm: float) -> float:
    """Smallest share of double pulses, within 2 ms of the dead time, that would be noticed."""
    mean = float(np.maximum(waits - dead, 0.0).mean())
    if mean <= 0.0:
        return float("inf")
    # the test's windows halve from half the mean interval down: the smallest that holds them
    window = 0.5 * mean
    while window >= 2.0 * DOUBLE_S and window > 0.5 * mean * 2.0 ** (1 - WINDOWS):
        window *= 0.5
    expected = waits.size * -float(np.expm1(-window / mean))
    critical = _critical(alarm / WINDOWS, expected)
    low, high = 0.0, float(waits.size)
    for _ in range(60):
        middle = 0.5 * (low + high)
        if 1.0 - float(pdtr(critical - 1.0, expected + middle)) >= POWER:
            high = middle
        else:
            low = middle
    return high / waits.size


def _critical(tail: float, mean: float) -> float:
    """Return the least k with P(N ≥ k) ≤ ``tail`` for Poisson counts of ``mean``."""
    k = np.floor(mean)
    while 1.0 - float(pdtr(k - 1.0, mean)) > tail:
        k += max(1.0, np.floor(0.05 * np.sqrt(mean)))
    return float(k)


def mains_seen(times_s: Floats, alarm: float = ALARM) -> float:
    """Smallest share of pulses in step with the mains that would be noticed.

    Of n pulses in a segment a share f at one phase gives |C|² the mean n + f²n(n−1) and the
    variance n(n−1) + 2f²n³ (to leading order); without it |C|² is a gamma of the same mean and
    variance at f = 0, as the test has it.
    """
    sizes = np.bincount(np.floor((times_s - times_s[0]) / SEGMENT_S).astype(np.int64))
    sizes = sizes.astype(np.float64)
    pairs, cubes, n = (float(x.sum()) for x in (sizes * (sizes - 1.0), sizes**3, sizes))
    if pairs <= 0.0:
        return float("inf")
    shape, unit = n * n / pairs, pairs / n
    critical = float(gammaincinv(shape, 1.0 - alarm / MAINS_TESTS)) * unit
    z = float(ndtri(POWER))
    low, high = 0.0, 1.0
    if n + pairs - z * np.sqrt(pairs + 2.0 * cubes) < critical:
        return float("inf")
    for _ in range(50):
        f = 0.5 * (low + high)
        if n + f * f * pairs - z * np.sqrt(pairs + 2.0 * f * f * cubes) >= critical:
            high = f
        else:
            low = f
    return high


def _bins(train: PulseTrain) -> tuple[Floats, Floats]:
    """Return counts and live times in bins of about twenty pulses, those half in a gap left out."""
    edges, counts, live = _binned(train)
    whole = live > 0.5 * np.diff(edges)
    return counts[whole], live[whole]


def _binned(train: PulseTrain) -> tuple[Floats, Floats, Floats]:
    """Return edges, counts and live times of bins of about twenty pulses, gaps taken off."""
    number = int(np.clip(train.count / 20, 8, 400))
    edges = np.linspace(0.0, train.duration_s, number + 1)
    counts = np.histogram(train.times_s, edges)[0].astype(np.float64)
    lost = np.zeros(number)
    for start, end in train.gaps_s:
        lost += np.clip(np.minimum(edges[1:], end) - np.maximum(edges[:-1], start), 0.0, None)
    return edges, counts, np.maximum(np.diff(edges) - lost, 1e-6)
