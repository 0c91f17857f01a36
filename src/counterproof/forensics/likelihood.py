"""How probable are the displayed numbers, given a firmware and the pulses?

A display shows a rounded number, so its probability is the mass that the model's unrounded value
puts on the interval that rounds to it. The unrounded value is known up to three kinds of noise:
a tight one (the clicks were heard as the firmware counted them), a loose one in proportion to the
counting scatter (pulses missed, added or heard late), and strays (misread numbers).
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from counterproof.forensics.paired import Joined
from counterproof.forensics.shapes import BOXCAR, EXPONENTIAL, FIXED, Rates
from counterproof.readout import corrected_rate, held_range

Floats = NDArray[np.float64]
Bools = NDArray[np.bool_]

STRAY_SHARE = 1e-3
LOGISTIC = float(np.pi / np.sqrt(12.0))
"""Half a standard deviation's slope of the logistic law, used for the noise: its distribution
function is a hyperbolic tangent (quick), and its tails are kinder than the normal law's."""
NOISE = ("log_tight", "log_loose", "logit_tight")
NOISE_BOUNDS = ((-13.8, 5.0), (-6.9, 1.5), (-8.0, 8.0))


@dataclass(frozen=True)
class Structure:
    """Which parameters a hypothesis about the factors has."""

    factors: int = 1
    hysteresis: bool = False
    dead_time: bool = False
    background: bool = False
    down: bool = False

    @property
    def names(self) -> tuple[str, ...]:
        """Names of its parameters, noise and estimator excluded."""
        names = ["log_factor"]
        if self.factors == 2:
            names += ["log_factor_high", "log_switch"]
        if self.hysteresis:
            names.append("hysteresis")
        if self.dead_time:
            names.append("dead_time")
        if self.background:
            names.append("background")
        return tuple(names)


class Posterior:
    """Log posterior of a structure, an estimator and its noise, over the usable readings."""

    def __init__(
        self,
        data: Joined,
        rates: Rates,
        used: Bools,
        step: float,
        structure: Structure,
        shape: float,
        offsets: Floats,
    ) -> None:
        """Hold the readings that count; ``shape`` and ``offsets`` bound the search around them."""
        self.rates = rates
        self.structure = structure
        self.at = data.at[used]
        self.run = data.run[used]
        self.clock = data.clock[used]
        self.values = data.values[used]
        self.step = step
        self.shape0 = shape
        self.offsets0 = offsets
        self.power = 1.0
        shift = 0.5 * step if structure.down else 0.0
        self.upper = self.values + shift + 0.5 * step
        self.lower = np.where(self.values > 0, self.values + shift - 0.5 * step, -np.inf)
        top = float(self.values.max()) if self.values.size else 1.0
        self.stray = STRAY_SHARE * step / max(2.0 * top, step)
        free = () if rates.kind == FIXED else ("log_shape",)
        shifts = tuple(f"offset_{i}" for i in range(data.clocks))
        self.names = structure.names + NOISE + free + shifts
        self.index = {name: i for i, name in enumerate(self.names)}
        seen = rates(shape, self.at + offsets[self.clock])[0]
        seen = seen[seen > 0]
        ends = (seen.min(), seen.max()) if seen.size else (1.0, 1.0)
        self.switch_bounds = (float(np.log(ends[0])), float(np.log(ends[1])))
        self.background_top = 0.9 * float(np.median(seen)) if seen.size else 1.0
        self._kept: list[tuple[tuple[float, ...], tuple[Floats, Floats]]] = []

    def shape(self, theta: Floats) -> float:
        """Return the window, time constant or number of pulses of a parameter vector."""
        i = self.index.get("log_shape")
        return self.shape0 if i is None else float(np.exp(theta[i]))

    def per_count(self, theta: Floats) -> float:
        """Return what factors and switch are carried times, so that they move independently.

        A boxcar's display fixes µSv/h per count, T/T₀ per cpm; an exponential's fixes the product
        of factor and exp(δ/τ), because a later look sees everything faded.
        """
        if self.rates.kind == BOXCAR:
            return self.shape(theta) / self.shape0
        if self.rates.kind == EXPONENTIAL:
            late = float(np.mean(theta[self.index["offset_0"] :] - self.offsets0))
            return float(np.exp(late / self.shape(theta)))
        return 1.0

    def named(self, samples: Floats) -> dict[str, Floats]:
        """Return samples (n, d) as physical parameters, each (n,): cpm per µSv/h, cpm, s."""
        out: dict[str, Floats] = {}
        shape = np.full(samples.shape[0], self.shape0)
        if "log_shape" in self.index:
            shape = np.exp(samples[:, self.index["log_shape"]])
        scale = np.array([self.per_count(theta) for theta in samples])
        for name, i in self.index.items():
            if name in ("log_factor", "log_factor_high", "log_switch"):
                out[name.removeprefix("log_")] = np.exp(samples[:, i]) / scale
            elif name.startswith("log_") and name != "log_shape":
                out[name.removeprefix("log_")] = np.exp(samples[:, i])
            elif name != "log_shape":
                out[name] = samples[:, i]
        out["shape"] = shape
        return out

    def counted(self, theta: Floats) -> tuple[Floats, Floats]:
        """Return the count rates (cpm) and their counting variance; the last few are kept."""
        first = self.index["offset_0"]
        key = (self.shape(theta), *theta[first:])
        for known, value in self._kept:
            if known == key:
                return value
        fresh = self.rates(key[0], self.at + theta[first:][self.clock])
        self._kept = [(key, fresh), *self._kept[:2]]
        return fresh

    def expected(self, theta: Floats) -> tuple[Floats, Floats]:
        """Return the unrounded dose rates in µSv/h and their scatter if counts were drawn anew."""
        cpm, counting = self.counted(theta)
        ix = self.index
        scale = self.per_count(theta)
        if "dead_time" in ix:
            cpm = 60.0 * corrected_rate(cpm / 60.0, float(theta[ix["dead_time"]]))
        low = scale * np.exp(-theta[0])
        if "log_switch" in ix:
            switch = float(np.exp(theta[ix["log_switch"]])) / scale
            if "hysteresis" in ix:
                release = switch * (1.0 - float(theta[ix["hysteresis"]]))
                above = held_range(cpm, switch, release) == 1
            else:
                above = cpm >= switch
            gain = np.where(above, scale * np.exp(-theta[1]), low)
        else:
            gain = np.full(cpm.shape, low)
        if "background" in ix:
            cpm = np.maximum(cpm - theta[ix["background"]], 0.0)
        return cpm * gain, np.sqrt(counting) * gain

    def inside(self, theta: Floats) -> bool:
        """Return whether a parameter vector is allowed at all."""
        ix = self.index
        noise = ix["log_tight"]
        for i, (low, high) in enumerate(NOISE_BOUNDS):
            if not low <= theta[noise + i] <= high:
                return False
        if "log_shape" in ix and abs(theta[ix["log_shape"]] - np.log(self.shape0)) > 0.5:
            return False
        if not -7.0 <= theta[0] <= 21.0:
            return False
        if "log_switch" in ix:
            low, high = self.switch_bounds
            if not (low <= theta[ix["log_switch"]] <= high and -7.0 <= theta[1] <= 21.0):
                return False
        if "hysteresis" in ix and not 0.0 <= theta[ix["hysteresis"]] < 0.5:
            return False
        if "background" in ix and not 0.0 <= theta[ix["background"]] <= self.background_top:
            return False
        if "dead_time" in ix and not -2e-3 <= theta[ix["dead_time"]] <= 2e-3:
            return False
        first = ix["offset_0"]
        return bool((np.abs(theta[first:] - self.offsets0) < 0.5 * self.shape0 + 2.0).all())

    def masses(self, theta: Floats) -> Floats:
        """Return the probability of every displayed number, shape (n,)."""
        shown, scatter = self.expected(theta)
        i = self.index["log_tight"]
        tight, loose = np.exp(theta[i]) * self.step, np.exp(theta[i + 1])
        share = 1.0 / (1.0 + np.exp(-theta[i + 2]))
        over, under = self.upper - shown, self.lower - shown
        wide = np.hypot(tight, loose * scatter)
        near = np.tanh(LOGISTIC / tight * over) - np.tanh(LOGISTIC / tight * under)
        narrow = LOGISTIC / wide
        far = np.tanh(narrow * over) - np.tanh(narrow * under)
        kept = 0.5 * (1 - STRAY_SHARE)
        return np.asarray(kept * (share * near + (1 - share) * far) + self.stray)

    def __call__(self, theta: Floats) -> float:
        """Return the log posterior (flat priors in the logarithms); −inf outside the bounds."""
        if not self.inside(theta):
            return -np.inf
        return self.power * float(np.log(self.masses(theta)).sum())

    def ranges(self, theta: Floats) -> tuple[Bools, ...]:
        """Return which readings fall in each range of the factors (hysteresis left aside)."""
        cpm, _ = self.counted(theta)
        if "log_switch" not in self.index:
            return (np.ones(cpm.shape, dtype=bool),)
        above = cpm >= np.exp(theta[self.index["log_switch"]]) / self.per_count(theta)
        return (~above, above)

    def stray_share(self, theta: Floats) -> float:
        """Return the share of the numbers that only a stray explains."""
        return float(np.mean(self.masses(theta) < 3.0 * self.stray))

    def excess(self, theta: Floats) -> Floats:
        """Return by how much each number misses its rounding interval, in counting scatters."""
        shown, scatter = self.expected(theta)
        miss = np.maximum(self.lower - shown, 0.0) - np.maximum(shown - self.upper, 0.0)
        return np.asarray(miss / np.maximum(scatter, 1e-12))


def independent_share(series: Floats, run: NDArray[np.int64]) -> float:
    """Return 1/(1 + 2 Σ autocorrelation): the share of a series that counts as independent.

    The sum stops at the first pair of lags whose correlations add up to nothing (initial positive
    sequence; Geyer 1992). A series that is almost nowhere different from zero counts in full.
    """
    if np.mean(series != 0) < 0.01:
        return 1.0
    z = series - np.median(series)
    z = np.clip(z, *np.quantile(z, (0.005, 0.995)))
    n = z.size
    padded = np.fft.rfft(z, 2 * n)
    cov = np.fft.irfft(padded * np.conj(padded))[:n]
    if cov[0] <= 0:
        return 1.0
    rho = cov / cov[0]
    total = 0.0
    for lag in range(1, n - 1, 2):
        pair = rho[lag] + rho[lag + 1]
        if pair <= 0:
            break
        total += pair
    return float(1.0 / (1.0 + 2.0 * total))
