"""Is there enough to say so? Tests that stand before and behind the inference of a firmware."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray
from scipy.special import gammaincinv

from counterproof.forensics.hypotheses import Weighed
from counterproof.forensics.paired import Joined
from counterproof.forensics.search import Candidate, score
from counterproof.forensics.shapes import BOXCAR, FIXED, Rates, memory_s
from counterproof.quantities import Estimate

Floats = NDArray[np.float64]
Ints = NDArray[np.int64]
Bools = NDArray[np.bool_]

FEWEST_READINGS = 40
FEWEST_PULSES = 60
FEWEST_NUMBERS = 4
COUPLED = 20.0
"""Log likelihood ratio above which pulses and readings are taken to belong together."""
UNRELATED_LOSS = 0.3
"""Share of lost or invented pulses from which on the pulses explain too little of the display."""
CERTAIN_KIND = 6.0
"""Log likelihood ratio above which the kind of estimator is stated."""


def coupling(data: Joined, rates: Rates, found: Candidate, step: float) -> float:
    """Return how much better the pulses explain the readings than the same pulses shifted.

    The log likelihood ratio is counted once per memory of the estimator, because readings within
    one memory repeat each other.
    """
    slowest = 60.0 * data.pulses.size / max(float((data.ends - data.starts).sum()), 1.0)
    memory = memory_s(found.kind, found.shape, slowest, 2.0)
    keep = np.ones(data.at.size, dtype=bool)
    costs = []
    for shift in (-4.0, -3.0, -2.2, 2.2, 3.0, 4.0):
        cost, _, used = score(data, rates, found.shape, found.offsets + shift * memory, keep, step)
        if np.isfinite(cost) and used.sum() > 0.3 * found.used.sum():
            costs.append(cost)
    if not costs:
        return 0.0
    at = np.sort(data.at[found.used])
    gaps = np.diff(at)
    covered = float(gaps[gaps < 5.0 * memory].sum())
    independent = min(covered / memory, float(at.size))
    return float(0.5 * independent * (np.median(costs) - found.cost))


def plausible(values: Floats, run: Ints, step: float) -> Bools:
    """Return which readings are no lonely outliers among their neighbours, shape (n,).

    Compared are square roots, whose counting scatter does not depend on the level, with the median
    of nine neighbours; eight robust standard deviations are the limit. A misread digit must not
    steer the search; the likelihood deals with what is left.
    """
    keep = np.ones(values.size, dtype=bool)
    for i in np.unique(run):
        own = np.flatnonzero(run == i)
        if own.size < 20:
            continue
        root = np.sqrt(np.maximum(values[own], 0.0) + step)
        around = np.lib.stride_tricks.sliding_window_view(np.pad(root, 4, mode="edge"), 9)
        off = np.abs(root - np.median(around, axis=1))
        scale = 1.4826 * float(np.median(off)) + 0.5 * step / float(np.median(root))
        keep[own] = off <= 8.0 * scale + 0.3 * float(np.median(root))
    return keep


def one_level(data: Joined) -> bool:
    """Return whether the pulse rate stayed at one level (within what chance allows)."""
    counts = []
    for start, end in zip(data.starts, data.ends, strict=True):
        inside = data.pulses[(data.pulses >= start) & (data.pulses <= end)]
        width = max(60.0, 20.0 * (end - start) / max(inside.size, 1))
        edges = np.arange(start, end + 1e-9, width)
        counts.append(np.histogram(inside, edges)[0] / width)
    rates = np.concatenate(counts)
    if rates.size < 4 or rates.mean() == 0:
        return True
    low, high = np.quantile(rates, (0.1, 0.9))
    scatter = np.sqrt(rates.mean() / 60.0)
    return bool(high - low < 5.0 * scatter or high < 1.3 * low)


def loss_share(weighed: Weighed) -> float:
    """Return the share of pulses whose loss would explain the scatter that rounding does not.

    A share p of lost (or invented) pulses leaves a variance of p times the counting variance.
    Zero while 97 % of the readings are reproduced to the last digit.
    """
    posterior = weighed.posterior
    best = weighed.chain.best
    if np.mean(posterior.excess(best) == 0.0) > 0.97:
        return 0.0
    shown, scatter = posterior.expected(best)
    miss = np.square((posterior.values - shown) / scatter)
    rounding = np.square(posterior.step / scatter) / 12.0
    middle = 1.4826**2 * float(np.median(miss)) - float(np.median(rounding))
    return float(np.clip(max(middle, _excess(miss, rounding)), 0.0, 1.0))


def _excess(miss: Floats, rounding: Floats) -> float:
    """Return the mean squared miss beyond rounding, strays left out.

    Readings of few counts, whose rounding hides everything, have little say.
    """
    weight = 1.0 / np.square(rounding + 0.02)
    weight[miss > 25.0 * np.maximum(np.median(miss), rounding)] = 0.0
    return float((weight * (miss - rounding)).sum() / max(float(weight.sum()), 1e-12))


def loss_limits(weighed: Weighed, loss: float) -> list[float]:
    """Return an upper limit of the lost (or invented) share for each range of the factors.

    A variance measured over few independent windows is known badly: the limit is that of χ² at
    5 %, with as many degrees of freedom as memories fit into the readings of the range.

    Args:
        weighed: the chosen structure at its summit.
        loss: the share over all readings, from :func:`loss_share`.
    """
    posterior, best = weighed.posterior, weighed.chain.best
    if loss == 0.0:
        return [0.0] * posterior.structure.factors
    shown, scatter = posterior.expected(best)
    z2 = np.square((posterior.values - shown) / scatter)
    rounding = np.square(posterior.step / scatter) / 12.0
    exact = posterior.excess(best) == 0.0
    pace = float(np.median(np.diff(posterior.at)))
    memory = posterior.shape0 * (1.0 if posterior.rates.kind == BOXCAR else 2.0)
    if posterior.rates.kind == FIXED:
        memory = pace
    limits = []
    for part in posterior.ranges(best):
        if not part.any() or np.mean(exact[part]) > 0.97:
            limits.append(0.0)
            continue
        share = max(_excess(z2[part], rounding[part]), loss)
        dof = max(float(part.sum()) * pace / max(memory, pace), 1.0)
        limits.append(min(share * dof / (2.0 * float(gammaincinv(0.5 * dof, 0.05))), 0.3))
    return limits


def crossed_both_ways(weighed: Weighed) -> bool:
    """Return whether the display was seen to cross its switch upwards and downwards.

    Only then do the readings tell one switch from two that are a hysteresis apart.
    """
    posterior = weighed.posterior
    ranges = posterior.ranges(weighed.chain.best)
    if len(ranges) < 2 or posterior.at.size < 2:
        return False
    above = ranges[1]
    pace = float(np.median(np.diff(posterior.at)))
    following = (np.diff(posterior.run) == 0) & (np.diff(posterior.at) < 3.0 * pace)
    up, down = ~above[:-1] & above[1:], above[:-1] & ~above[1:]
    return bool((up & following).any() and (down & following).any())


def ratio_of_means(data: Joined) -> Estimate | None:
    """Return total count rate over mean displayed dose rate: one factor, without any model.

    The interval holds the Poisson scatter of both (the display saw the same pulses, or pulses of
    the same field at another time), and is meant for a steady field alone.
    """
    span = float((data.ends - data.starts).sum())
    mean = float(data.values.mean()) if data.values.size else 0.0
    if data.pulses.size < 10 or mean <= 0 or span <= 0:
        return None
    value = 60.0 * data.pulses.size / span / mean
    blocks = np.array_split(data.values, 8)
    display = np.std([b.mean() for b in blocks if b.size]) / mean / np.sqrt(8.0)
    relative = float(np.hypot(np.sqrt(2.0 / data.pulses.size), display))
    return Estimate(
        value,
        value * relative,
        value * max(1.0 - 2.4 * relative, 0.0),
        value * (1.0 + 2.4 * relative),
        0.95,
        "cpm/(µSv/h)",
        float(data.pulses.size),
        "ratio of means",
    )
