"""The answer of a firmware inference."""

from __future__ import annotations

from dataclasses import dataclass, field

import numpy as np
from numpy.typing import NDArray

from counterproof.forensics.clocks import Refresh
from counterproof.forensics.lattice import Lattice
from counterproof.forensics.likelihood import Structure
from counterproof.quantities import Estimate

Floats = NDArray[np.float64]

UNDETERMINED = "undetermined"


@dataclass(frozen=True)
class Hypothesis:
    """A structure of the factors that was weighed, with natural logarithms of its likelihood."""

    structure: Structure
    log_likelihood: float
    score: float


@dataclass(frozen=True)
class ReadoutFit:
    """The simplest adequate firmware, its parameters with 95 % intervals, and the evidence.

    Args:
        kind: ``"boxcar"``, ``"exponential"``, ``"fixed count"``, ``"switched"`` or
            ``"undetermined"``.
        structure: what the mapping from count rate to display consists of.
        factors: cpm per µSv/h, lowest range first; empty if nothing can be said.
        switch: displayed dose rate, in units of the lower range, at which the factor changes.
        factor_ratio: factor above the switch over that below it, where only that can be told.
        time_constant: window T or time constant τ, s (of the slow estimator when switched).
        window_pulses: pulses of a fixed-count window.
        quantum: step of the display, µSv/h.
        refresh: time between two new numbers.
        clock_offsets: what to add to each run's reading times to reach its pulse clock, s.
        hysteresis: share below the switch at which the lower range returns.
        dead_time: dead time that the firmware corrects for (s); negative if the display counts
            fewer pulses than were heard.
        background: count rate that the firmware takes off, cpm.
        hypotheses: the structures weighed.
        kind_log_lead: natural logarithm of the likelihood ratio to the best other kind.
        kind_rival: that other kind.
        readings: readings that took part.
        pulses: pulses that took part.
        exact_share: share of the readings that the model reproduces to the last digit.
        independent_share: share of the readings that counted as independent.
        loss_share: share of pulses whose loss (or invention) would explain the scatter that is
            left; the factors' intervals allow for either.
        seen_usv_h: lowest and highest displayed dose rate that the answer rests on.
        statements: what was found, in sentences.
        missing: what could not be told, and what would help.
    """

    kind: str
    structure: Structure = field(default_factory=Structure)
    factors: tuple[Estimate, ...] = ()
    switch: Estimate | None = None
    factor_ratio: Estimate | None = None
    time_constant: Estimate | None = None
    window_pulses: int | None = None
    quantum: Estimate | None = None
    refresh: Refresh | None = None
    clock_offsets: tuple[Estimate, ...] = ()
    hysteresis: Estimate | None = None
    dead_time: Estimate | None = None
    background: Estimate | None = None
    hypotheses: tuple[Hypothesis, ...] = ()
    kind_log_lead: float = 0.0
    kind_rival: str = ""
    readings: int = 0
    pulses: int = 0
    exact_share: float = 0.0
    independent_share: float = 1.0
    loss_share: float = 0.0
    seen_usv_h: tuple[float, float] = (0.0, 0.0)
    statements: tuple[str, ...] = ()
    missing: tuple[str, ...] = ()

    @property
    def model(self) -> str:
        """The model in a few words."""
        if not self.factors:
            return UNDETERMINED
        words = [self.kind, "two factors" if len(self.factors) == 2 else "one factor"]
        extras = ("hysteresis", "dead_time", "background")
        words += [e.replace("_", " ") for e in extras if getattr(self.structure, e)]
        if self.structure.down:
            words.append("rounded down")
        return ", ".join(words)


def between(samples: Floats, unit: str) -> Estimate:
    """Return median, spread and central 95 % of samples."""
    low, middle, high = (float(q) for q in np.quantile(samples, (0.025, 0.5, 0.975)))
    return Estimate(
        middle, float(np.std(samples)), low, high, 0.95, unit, None, "posterior samples"
    )


def bracket(samples: Floats, unit: str) -> Estimate:
    """Return the middle and the whole range of samples of a threshold.

    Between the last reading below and the first above, the readings say nothing, and people like
    round numbers, which fall on the edges of that gap: it is given in full.
    """
    low, high = float(samples.min()), float(samples.max())
    middle = float(np.median(samples))
    return Estimate(middle, float(np.std(samples)), low, high, 0.95, unit, None, "whole gap")


def either_way(estimate: Estimate, share: float) -> Estimate:
    """Widen a factor by a share of pulses that may have been lost, or invented."""
    if share == 0.0:
        return estimate
    low, high = estimate.low * (1.0 - share), estimate.high * (1.0 + share)
    u = float(np.hypot(estimate.u, share * estimate.value / np.sqrt(3.0)))
    method = f"{estimate.method}, loss of pulses either way"
    return Estimate(estimate.value, u, low, high, 0.95, estimate.unit, estimate.counts, method)


def quantum_of(lattice: Lattice | None) -> Estimate | None:
    """Return the display's step as an estimate."""
    if lattice is None:
        return None
    u = (lattice.high - lattice.low) / np.sqrt(12.0)
    n = float(lattice.distinct)
    return Estimate(lattice.step, float(u), lattice.low, lattice.high, 0.95, "µSv/h", n, "lattice")
