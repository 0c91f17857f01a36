"""Find the estimator and the clock offset: a coarse grid, then a shrinking pattern search."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from counterproof.forensics.paired import Joined
from counterproof.forensics.profile import Profile, fit_factors, nearer_high, variance
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
    cpm = rates(shape, data.at + offsets[data.clock])[0][used]
    found = fit_factors(cpm, even_scatter(cpm), data.values[used], step)
    return float(np.log(found.cost + 1e-12)), found, used


def even_scatter(cpm: Floats) -> Floats:
    """Return a counting variance (cpm²) that does not depend on the estimator: 15 s of counting.

    With each estimator's own scatter a long memory would be held to a stricter measure than a
    short one, and costs could not be compared.
    """
    per = 60.0 / 15.0
    return (cpm + per) * per


def coarse(
    data: Joined, keep: Bools, step: float, reach_s: float, resolving_time_s: float = 0.0
) -> tuple[float, float]:
    """Return the boxcar window and the common clock offset that fit best on a coarse grid, s."""
    rates = Rates(data.pulses, BOXCAR, resolving_time_s)
    best = (np.inf, 20.0, 0.0)
    for window in (4.0, 8.0, 16.0, 32.0, 64.0):
        pace = max(window / 4.0, 1.0)
        for offset in np.arange(-np.floor(reach_s / pace), reach_s / pace + 1) * pace:
            offsets = np.full(data.clocks, float(offset))
            cost = score(data, rates, window, offsets, keep, step)[0]
            if cost < best[0]:
                best = (cost, window, float(offset))
    return best[1], best[2]


def best_start(
    data: Joined, rates: Rates, offset: float, keep: Bools, step: float
) -> tuple[float, Floats]:
    """Return the shape and offsets of a kind that fit best on a grid of shapes."""
    shapes = np.geomspace(2.0, 110.0, 12)
    if rates.kind == FIXED:
        shapes = np.geomspace(3.0, 400.0, 10)
    best = (np.inf, float(shapes[5]), offset)
    for shape in shapes:
        for shift in {offset, 0.0}:
            cost = score(data, rates, float(shape), np.full(data.clocks, shift), keep, step)[0]
            if cost < best[0]:
                best = (cost, float(shape), shift)
    return best[1], np.full(data.clocks, best[2])


def shake(
    data: Joined,
    rates: Rates,
    found: Candidate,
    keep: Bools,
    step: float,
    rng: np.random.Generator,
    tries: int = 300,
) -> Candidate:
    """Leave small local minima: random steps of all sizes, kept whenever they fit better."""
    if rates.kind == FIXED:
        return found
    best = found
    for _ in range(tries):
        size = best.shape * 10.0 ** rng.uniform(-4.5, -1.0)
        turn = rng.uniform(0.0, 2.0 * np.pi)
        shape = best.shape + size * np.cos(turn)
        offsets = best.offsets + size * np.sin(turn)
        if not SHORTEST_S <= shape <= LONGEST_S:
            continue
        cost, profile, used = score(data, rates, shape, offsets, keep, step)
        if cost < best.cost and profile is not None:
            best = Candidate(rates.kind, shape, offsets, cost, profile, used)
    return best


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


def own_offsets(
    data: Joined, rates: Rates, found: Candidate, keep: Bools, step: float, reach_s: float
) -> Floats:
    """Return offsets with each clock searched for itself, the others held, s."""
    offsets = found.offsets.copy()
    if data.clocks == 1:
        return offsets
    for clock in range(data.clocks):
        own = keep & (data.clock == clock)
        best = (np.inf, float(offsets[clock]))
        widest = max(0.25 * found.shape, 1.0)
        for stride in (widest, 0.25, 0.05, 0.01):
            if stride > reach_s:
                continue
            reach = min(reach_s if stride == widest else 6.0 * stride, reach_s)
            around = best[1]
            for shift in np.arange(-reach, reach + stride, stride):
                trial = offsets.copy()
                trial[clock] = around + shift
                used = own & data.usable(trial, found.shape)
                if used.sum() < 0.4 * own.sum():
                    continue
                cpm = rates(found.shape, (data.at + trial[data.clock])[used])[0]
                shown, values = _shown(cpm, data.values[used], found.profile), data.values[used]
                scatter = variance(cpm, even_scatter(cpm), values, step)
                cost = float(np.mean((values - shown) ** 2 / scatter))
                if cost < best[0]:
                    best = (cost, float(trial[clock]))
        offsets[clock] = best[1]
    return offsets


def _shown(cpm: Floats, values: Floats, profile: Profile) -> Floats:
    """Return what a profile shows at each rate, with either factor allowed near the switch."""
    low, high = profile.factors
    return np.where(
        nearer_high(cpm, values, profile.factors, profile.switch_cpm), cpm / high, cpm / low
    )


def without_strays(data: Joined, rates: Rates, found: Candidate, step: float) -> Bools:
    """Return which readings lie within seven robust standard deviations of a candidate's fit."""
    cpm = rates(found.shape, data.at + found.offsets[data.clock])[0]
    shown = _shown(cpm, data.values, found.profile)
    z = (data.values - shown) / np.sqrt(variance(cpm, even_scatter(cpm), data.values, step))
    scale = 1.4826 * float(np.median(np.abs(z[found.used]))) if found.used.any() else np.inf
    near = np.abs(cpm - found.profile.switch_cpm) < 0.1 * found.profile.switch_cpm
    return np.asarray(near | (np.abs(z) <= 7.0 * max(scale, 0.3)) | ~found.used)
