"""Everything uncertain about a retrofit as one joint sample, and what evidence does to it.

What physics computes of a tube (counts per second in some fields) is positive and known to a
factor, so the sample holds natural logarithms, one column per quantity. A tube's unknown
dimensions move all its columns together; a data sheet's line or a measured rate on one column
moves the others with it (JCGM 101 for the propagation; the update is the ensemble form of a
linear least-squares estimate: G. Evensen, Ocean Dynamics 53 (2003) 343, from memory).
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from counterproof.quantities import Estimate

Floats = NDArray[np.float64]
DRAWS = 2000
QUANTILES = (0.1, 0.9)
"""Where in the range of each unknown the effects of a tube are computed, beside its middle."""
LEAST = 1e-12
"""Counts per second that stand for none: logarithms must exist."""


@dataclass(frozen=True, eq=False)
class Effects:
    """What a tube counts, and how each unknown of it changes that.

    Args:
        names: of the columns, such as ``"caesium"``, ``"background"`` or ``"beta:rods"``.
        nominal: counts with every unknown in the middle of its range, shape (columns,).
        low: with one unknown after the other at its 10 % quantile, shape (unknowns, columns).
        high: likewise at 90 %.
        common_u: relative standard uncertainty of the model that all columns share.
        own_u: what each column has of its own, shape (columns,).
    """

    names: tuple[str, ...]
    nominal: Floats
    low: Floats
    high: Floats
    common_u: float
    own_u: Floats


class Sample:
    """A joint sample: columns of natural logarithms, each of shape (draws,).

    Args:
        draws: how many.
        seed: of the generator; the same seed and the same calls give the same sample.
    """

    def __init__(self, draws: int = DRAWS, seed: int = 1) -> None:
        """Start without columns."""
        self.draws = draws
        self._generator = np.random.default_rng(seed)
        self._logs: dict[str, Floats] = {}

    def __getitem__(self, name: str) -> Floats:
        """Return a column in natural units."""
        return np.asarray(np.exp(self._logs[name]))

    def normal(self) -> Floats:
        """Return independent standard normal draws that belong to no column, evenly spread."""
        from scipy.special import ndtri

        return np.asarray(ndtri(self._even()))

    def _even(self) -> Floats:
        """Uniform draws, one in each of ``draws`` equal cells, in random order."""
        cells = self._generator.permutation(self.draws)
        return (cells + self._generator.random(self.draws)) / self.draws

    def add(self, name: str, median: float, relative_u: float) -> None:
        """Add a lognormal column: ``relative_u`` is the standard deviation of its logarithm."""
        self._logs[name] = math.log(max(median, LEAST)) + relative_u * self.normal()

    def add_range(self, name: str, low: float, high: float) -> None:
        """Add a column that lies anywhere between two bounds, even in its logarithm."""
        span = math.log(high / low)
        self._logs[name] = math.log(low) + span * self._even()

    def add_tube(self, tube: str, effects: Effects) -> None:
        """Add a tube's columns as ``"<tube>/<name>"``.

        Each unknown acts on the logarithms through a parabola over its quantile (through its 10 %,
        50 % and 90 % points) and all unknowns add up; their quantiles are uniform.
        """
        nominal = np.log(np.maximum(effects.nominal, LEAST))
        logs = np.tile(nominal, (self.draws, 1))
        for below, above in zip(effects.low, effects.high, strict=True):
            down = np.log(np.maximum(below, LEAST)) - nominal
            up = np.log(np.maximum(above, LEAST)) - nominal
            t = (self._even() - 0.5)[:, None] / (QUANTILES[1] - 0.5)
            logs += 0.5 * (up - down) * t + 0.5 * (up + down) * t * t
        logs += (effects.common_u * self.normal())[:, None]
        for column, own in enumerate(effects.own_u):
            logs[:, column] += own * self.normal()
        for column, name in enumerate(effects.names):
            self._logs[f"{tube}/{name}"] = logs[:, column]

    def observe(self, predicted: Floats, observed: float, relative_u: float) -> float:
        """Let a measured number correct every column, and return its pull.

        Args:
            predicted: what each draw says the number is, shape (draws,), positive.
            observed: the number.
            relative_u: its relative standard uncertainty, nothing of which is in the sample.

        Returns:
            (ln observed − ln predicted)/u with both uncertainties: far from 0, the prediction or
            the measurement is not what it claims.
        """
        h = np.log(np.maximum(predicted, LEAST))
        about = h - h.mean()
        variance = float(about @ about) / (self.draws - 1)
        total = variance + relative_u**2
        miss = math.log(max(observed, LEAST)) + relative_u * self.normal() - h
        for name, column in self._logs.items():
            gain = float((column - column.mean()) @ about) / (self.draws - 1) / total
            self._logs[name] = column + gain * miss
        return (math.log(max(observed, LEAST)) - float(h.mean())) / math.sqrt(max(total, 1e-30))


def estimate_of(values: Floats, unit: str, method: str = "joint Monte Carlo") -> Estimate:
    """Return median, standard deviation and central 95 % interval of draws."""
    low, middle, high = (float(q) for q in np.quantile(values, [0.025, 0.5, 0.975]))
    u = float(values.std(ddof=1)) if np.all(np.isfinite(values)) else math.inf
    return Estimate(middle, u, low, high, 0.95, unit, None, method)
