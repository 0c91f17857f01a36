"""The answer of a firmware inference."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from counterproof.forensics.clocks import Refresh
from counterproof.forensics.likelihood import Structure
from counterproof.quantities import Estimate

Floats = NDArray[np.float64]


@dataclass(frozen=True)
class Hypothesis:
    """A structure of the factors that was weighed, with natural logarithms of its likelihood."""

    structure: Structure
    log_likelihood: float
    score: float


@dataclass(frozen=True)
class ReadoutFit:
    """The simplest adequate firmware, its parameters with 95 % intervals, and the evidence."""

    kind: str
    structure: Structure
    factors: tuple[Estimate, ...]
    switch: Estimate | None
    time_constant: Estimate | None
    window_pulses: int | None
    quantum: Estimate | None
    refresh: Refresh | None
    clock_offsets: tuple[Estimate, ...]
    hysteresis: Estimate | None
    dead_time: Estimate | None
    background: Estimate | None
    hypotheses: tuple[Hypothesis, ...]
    kind_log_lead: float
    readings: int
    exact_share: float
    independent_share: float


def between(samples: Floats, unit: str) -> Estimate:
    """Return median, spread and central 95 % of samples."""
    low, middle, high = (float(q) for q in np.quantile(samples, (0.025, 0.5, 0.975)))
    return Estimate(
        middle, float(np.std(samples)), low, high, 0.95, unit, None, "posterior samples"
    )
