"""What was recorded, as plain arrays: pulse trains, count logs and reading logs.

Times are seconds from the run's start on one monotonic clock; the run holds the UTC start.
"""

from __future__ import annotations

from dataclasses import dataclass, field

import numpy as np
from numpy.typing import NDArray

Floats = NDArray[np.float64]
Ints = NDArray[np.int64]


@dataclass(frozen=True, eq=False)
class PulseTrain:
    """Event times from clicks or a pulse line.

    Args:
        times_s: onset times, shape (n,), ascending, seconds from the start.
        duration_s: length of the recording in seconds.
        resolving_time_s: events closer than this cannot be told apart; 0 for a logic line.
        efficiency: estimated share of true events that were found, 0…1.
        efficiency_u: its standard uncertainty.
        false_rate_per_s: estimated rate of false events.
        gaps_s: stretches (start, end) during which nothing could be heard, shape (m, 2).
        warnings: sentences that the reader of a result must see.

    Raises:
        ValueError: if times are not ascending, not finite or outside 0…duration_s.
    """

    times_s: Floats
    duration_s: float
    resolving_time_s: float = 0.0
    efficiency: float = 1.0
    efficiency_u: float = 0.0
    false_rate_per_s: float = 0.0
    gaps_s: Floats = field(default_factory=lambda: np.empty((0, 2)))
    warnings: tuple[str, ...] = ()

    def __post_init__(self) -> None:
        """Hold the order and bounds that every analysis relies on."""
        t = self.times_s
        if t.ndim != 1:
            raise ValueError("pulse times must be a flat array of finite numbers")
        # without copies, for ten million times: a NaN fails every comparison, so it cannot hide
        rising = bool((t[1:] >= t[:-1]).all())
        ends_finite = bool(np.isfinite(t[:1]).all() and np.isfinite(t[-1:]).all())
        if not (rising and ends_finite) and not np.isfinite(t).all():
            raise ValueError("pulse times must be a flat array of finite numbers")
        if not rising or (t.size and (t[0] < 0 or t[-1] > self.duration_s)):
            raise ValueError("pulse times must ascend within the recording's length")

    @property
    def count(self) -> int:
        """Number of events."""
        return int(self.times_s.size)

    @property
    def live_s(self) -> float:
        """Recorded length less the gaps, in seconds (dead time not taken off)."""
        return float(self.duration_s - (self.gaps_s[:, 1] - self.gaps_s[:, 0]).sum())


@dataclass(frozen=True, eq=False)
class CountLog:
    """Counts per interval.

    Args:
        starts_s: interval starts, shape (n,), ascending.
        durations_s: interval lengths, shape (n,), positive.
        counts: counts in each, shape (n,), non-negative whole numbers.
        warnings: sentences that the reader of a result must see.

    Raises:
        ValueError: on unequal shapes, falling starts, empty intervals or negative counts.
    """

    starts_s: Floats
    durations_s: Floats
    counts: Ints
    warnings: tuple[str, ...] = ()

    def __post_init__(self) -> None:
        """Hold the shapes and signs that every analysis relies on."""
        if not self.starts_s.shape == self.durations_s.shape == self.counts.shape:
            raise ValueError("starts, durations and counts must have one shape")
        if bool((self.durations_s <= 0).any()) or bool((self.counts < 0).any()):
            raise ValueError("durations must be positive and counts not negative")
        if bool((np.diff(self.starts_s) < 0).any()):
            raise ValueError("interval starts must ascend")

    @property
    def count(self) -> int:
        """Total counts."""
        return int(self.counts.sum())

    @property
    def live_s(self) -> float:
        """Sum of the intervals in seconds."""
        return float(self.durations_s.sum())


@dataclass(frozen=True, eq=False)
class ReadingLog:
    """Displayed numbers with their times.

    Args:
        times_s: when each number was read, shape (n,), ascending.
        values: the numbers as displayed, shape (n,), in ``unit``.
        quantity: ``"dose_rate"``, ``"count_rate"``, ``"dose"`` or ``"counts"``.
        unit: unit as displayed, such as ``"µSv/h"`` or ``"cpm"``.
        field: ``"momentary"``, ``"average"`` or ``"accumulated"``.
        quantum: smallest step of the display in ``unit``; ``None`` when unknown.
        warnings: sentences that the reader of a result must see.

    Raises:
        ValueError: on unequal shapes or falling times.
    """

    times_s: Floats
    values: Floats
    quantity: str
    unit: str
    field: str = "momentary"
    quantum: float | None = None
    warnings: tuple[str, ...] = ()

    def __post_init__(self) -> None:
        """Hold the shapes and order that every analysis relies on."""
        if self.times_s.shape != self.values.shape or self.times_s.ndim != 1:
            raise ValueError("times and values must be flat arrays of one length")
        if bool((np.diff(self.times_s) < 0).any()):
            raise ValueError("reading times must ascend")
