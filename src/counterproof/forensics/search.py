"""Find the estimator and the clock offset: a coarse grid, then a shrinking pattern search."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from counterproof.forensics.paired import Joined
from counterproof.forensics.profile import Profile, fit_factors, variance
from counterproof.forensics.shapes import BOXCAR, FIXED, Rates, memory_s

Floats = NDArray[np.float64]
Bools = NDArray[np.bool_]

LONGEST_S = 150.0
SHORTEST_S = 1.0


@dataclass(frozen=True, eq=False)
class Candidate:
    """One kind of estimator at its best: ``shape`` is T, τ (s) or a number of pulses."""

    kind: str
    shape: float
    offsets: Floats
    cost: float
    profile: Profile
    used: Bools


def score(
    data: Joined, rates: Rates, shape: float, offsets: Floats, keep: Bools, step: float
) -> tuple[float, Profile | None, Bools]:
    """Return log mean squared standardised residual (two factors allowed) and what it rests on."""
    slowest = 60.0 * data.pulses.size / max(float((data.ends - data.starts).sum()), 1.0)
    used = keep & data.usable(offsets, memory_s(rates.kind, shape, 0.3 * slowest, 6.0))
    if used.sum() < 30 or used.sum() < 0.2 * keep.sum():
        return np.inf, None, used
    at = data.at + offsets[data.run]
    cpm, counting = rates(shape, at)
    found = fit_factors(cpm[used], counting[used], data.values[used], step)
    return float(np.log(found.cost + 1e-12)), found, used


def coarse(data: Joined, keep: Bools, step: float, reach_s: float) -> tuple[float, float]:
    """Return the boxcar window and the common clock offset that fit best on a coarse grid, s."""
    rates = Rates(data.pulses, BOXCAR)
    best = (np.inf, 20.0, 0.0)
    for window in (4.0, 8.0, 16.0, 32.0, 64.0):
        pace = max(window / 4.0, 1.0)
        for offset in np.arange(-np.floor(reach_s / pace), reach_s / pace + 1) * pace:
            offsets = np.full(data.runs, float(offset))
            cost = score(data, rates, window, offsets, keep, step)[0]
            if cost < best[0]:
                best = (cost, window, float(offset))
    return best[1], best[2]


def refine(
    data: Joined,
    rates: Rates,
    start: tuple[float, Floats],
    keep: Bools,
    step: float,
    finest: float = 1e-4,
) -> Candidate:
    """Walk downhill in log shape, common offset and (for a boxcar) the window's far edge."""
    shape, offsets = start
    cost, found, used = score(data, rates, shape, offsets, keep, step)
    stride = 0.3
    while stride > finest:
        moved = False
        for bigger, later in _moves(rates.kind, shape, stride):
            if not SHORTEST_S <= bigger <= (2000.0 if rates.kind == FIXED else LONGEST_S):
                continue
            trial = score(data, rates, bigger, offsets + later, keep, step)
            if trial[0] < cost - 1e-9:
                cost, found, used = trial
                shape, offsets, moved = bigger, offsets + later, True
                break
        if not moved:
            stride *= 0.5
    if found is None:
        found = Profile(np.inf, np.inf, (np.inf, np.inf), np.inf, np.inf)
    return Candidate(rates.kind, shape, offsets, cost, found, used)


def _moves(kind: str, shape: float, stride: float) -> list[tuple[float, float]]:
    """Return trial (shape, shift of the offset) pairs around ``shape``."""
    if kind == FIXED:
        jump = max(1.0, round(shape * stride))
        return [(shape + jump, 0.0), (shape - jump, 0.0), (shape, 5 * stride), (shape, -5 * stride)]
    d = shape * stride
    moves = [(shape + d, 0.0), (shape - d, 0.0), (shape, 0.5 * d), (shape, -0.5 * d)]
    if kind == BOXCAR:
        moves += [(shape + d, d), (shape - d, -d)]
    return moves


def without_strays(data: Joined, rates: Rates, found: Candidate, step: float) -> Bools:
    """Return which readings lie within seven robust standard deviations of a candidate's fit."""
    cpm, counting = rates(found.shape, data.at + found.offsets[data.run])
    low, high = found.profile.factors
    shown = np.where(cpm < found.profile.switch_cpm, cpm / low, cpm / high)
    z = (data.values - shown) / np.sqrt(variance(cpm, counting, data.values, step))
    scale = 1.4826 * float(np.median(np.abs(z[found.used]))) if found.used.any() else np.inf
    near = np.abs(cpm - found.profile.switch_cpm) < 0.1 * found.profile.switch_cpm
    return np.asarray(near | (np.abs(z) <= 7.0 * max(scale, 0.3)) | ~found.used)
