"""Where a counting rate changed.

Poisson likelihood ratio of one rate against two within each of a set of nested intervals, *seeded
binary segmentation* (Kovács, Bühlmann, Li & Munk, Biometrika 110 (2023) 249): interval lengths fall
by √2 from layer to layer and each layer overlaps itself by half, so n bins cost n log n steps. The
largest ratio is taken first; intervals that hold a change already found are set aside; then each
change is moved to its best place between its neighbours and dropped if it no longer stands.

The largest ratio over all intervals has no closed distribution. For constant rates it follows
p = 1 - exp(-M e^(-LR/2)) with M = a n^1.13. Simulations of 16 … 16384 bins with 3 … 100 counts per
bin gave a = 0.7 … 1.1; a = 1 is used, so p is rather too large than too small, more so with fewer
counts per bin. acceptance/coverage.py measures the false alarms that come out.

Zero counts in a bin are fine; a log without any counts has no changes.
"""

from __future__ import annotations

from dataclasses import dataclass
from itertools import pairwise

import numpy as np
from numpy.typing import ArrayLike
from scipy.special import xlogy

from counterproof.counting.checks import (
    Floats,
    checked_counts,
    checked_coverage,
    checked_live,
    checked_size,
)
from counterproof.counting.poisson import rate_estimate
from counterproof.errors import UserError
from counterproof.quantities import Estimate
from counterproof.texts import text

_M_FACTOR, _M_POWER = 1.0, 1.13


@dataclass(frozen=True, slots=True)
class Change:
    """One change of rate.

    Args:
        index: first bin of the new rate.
        time_s: its start in seconds from the start of the log.
        likelihood_ratio: twice the log likelihood gained by allowing it.
        p_value: probability of one so strong anywhere in a log of constant rate.
    """

    index: int
    time_s: float
    likelihood_ratio: float
    p_value: float


@dataclass(frozen=True, slots=True)
class Segmentation:
    """A count log cut where its rate changes.

    Args:
        changes: in order of time; empty when the rate is constant as far as can be told.
        rates: rate of each stretch in 1/s, one more than ``changes``.
        threshold: likelihood ratio from which a change was accepted.
    """

    changes: tuple[Change, ...]
    rates: tuple[Estimate, ...]
    threshold: float


def find_changes(
    counts: ArrayLike, durations_s: ArrayLike | None = None, false_alarm: float = 0.01
) -> Segmentation:
    """Cut a count log where its rate changed.

    Args:
        counts: counts per bin, shape (n,), in order; n ≥ 2.
        durations_s: bin lengths in seconds, shape (n,); 1 s each when left out.
        false_alarm: probability of any change found in a log of constant rate.

    Raises:
        UserError: for fewer than two bins, unequal lengths or bad input.
    """
    n = checked_counts(counts).ravel()
    checked_size(n, 2, "bins")
    t = np.ones_like(n) if durations_s is None else checked_live(durations_s).ravel()
    if t.size != n.size:
        raise UserError(
            text("counting.lengths", what="counts and durations", first=n.size, second=t.size)
        )
    checked_coverage(false_alarm)
    many = _M_FACTOR * n.size**_M_POWER
    threshold = 2.0 * float(np.log(many / -np.log1p(-false_alarm)))
    total, time = np.append(0.0, np.cumsum(n)), np.append(0.0, np.cumsum(t))
    splits, ratios, lefts, rights = _candidates(total, time)

    order = np.argsort(-ratios)
    found: list[tuple[int, float]] = []
    for i in order[: int((ratios > threshold).sum())]:
        if not any(lefts[i] < cut < rights[i] for cut, _ in found):
            found.append((int(splits[i]), float(ratios[i])))
    found = _settled(sorted(found), total, time)
    changes = tuple(
        Change(cut, float(time[cut]), lr, -float(np.expm1(-many * np.exp(-lr / 2.0))))
        for cut, lr in found
    )
    edges = [0, *(cut for cut, _ in found), n.size]
    rates = tuple(
        rate_estimate(float(total[b] - total[a]), float(time[b] - time[a]))
        for a, b in pairwise(edges)
    )
    return Segmentation(changes, rates, threshold)


def largest_ratio(counts: ArrayLike) -> float:
    """Largest likelihood ratio over all seeded intervals of equal bins (for calibration)."""
    n = checked_counts(counts).ravel()
    total, time = np.append(0.0, np.cumsum(n)), np.arange(n.size + 1.0)
    return float(_candidates(total, time)[1].max())


def _gain(n1: Floats, t1: Floats, n2: Floats, t2: Floats) -> Floats:
    """Twice the log likelihood ratio of two rates against one."""
    both = xlogy(n1 + n2, (n1 + n2) / (t1 + t2))
    return np.asarray(2.0 * (xlogy(n1, n1 / t1) + xlogy(n2, n2 / t2) - both), dtype=np.float64)


def _ratios(total: Floats, time: Floats, left: int, right: int) -> Floats:
    """Gain of every split of one interval, shape (right - left - 1,)."""
    k = slice(left + 1, right)
    return _gain(
        total[k] - total[left], time[k] - time[left], total[right] - total[k], time[right] - time[k]
    )


Indices = np.ndarray[tuple[int], np.dtype[np.int64]]


def _candidates(total: Floats, time: Floats) -> tuple[Indices, Floats, Indices, Indices]:
    """Best split of each seeded interval: split, gain, left end, right end."""
    n = total.size - 1
    found: list[tuple[Indices, Floats, Indices, Indices]] = []
    length = float(n)
    seen = 0
    while length >= 2.0:
        size = int(np.ceil(length))
        if size != seen:
            seen = size
            pieces = 1 if size >= n else int(np.ceil(2.0 * n / size)) - 1
            starts = np.unique(np.linspace(0, n - size, max(pieces, 1)).astype(np.int64))
            rows = max(1, 200_000 // size)
            for at in range(0, starts.size, rows):
                left = starts[at : at + rows]
                right = left + size
                k = left[:, None] + np.arange(1, size)
                n1, t1 = total[k] - total[left, None], time[k] - time[left, None]
                n2, t2 = total[right, None] - total[k], time[right, None] - time[k]
                gain = _gain(n1, t1, n2, t2)
                best = gain.argmax(axis=1)
                found.append((left + 1 + best, gain[np.arange(left.size), best], left, right))
        length /= np.sqrt(2.0)
    split, gain, left, right = (np.concatenate(parts) for parts in zip(*found, strict=True))
    return split, gain, left, right


def _settled(
    found: list[tuple[int, float]], total: Floats, time: Floats
) -> list[tuple[int, float]]:
    """Move each change to where it is strongest between its neighbours.

    A burst is two changes, either of which is weak when looked at from far away: a change that
    gains nothing by moving stays where the seeded interval put it.
    """
    for _ in range(10):
        edges = [0, *(cut for cut, _ in found), total.size - 1]
        settled: list[tuple[int, float]] = []
        for i, (cut, lr) in enumerate(found):
            left = settled[-1][0] if settled else 0
            gain = _ratios(total, time, left, edges[i + 2])
            best = int(gain.argmax())
            settled.append((left + 1 + best, float(gain[best])) if gain[best] > lr else (cut, lr))
        if settled == found:
            break
        found = settled
    return found
