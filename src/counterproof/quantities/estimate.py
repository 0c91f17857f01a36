"""An estimate: a value with its uncertainty, as every result of the project is given."""

from __future__ import annotations

import math
from dataclasses import dataclass


@dataclass(frozen=True, slots=True)
class Estimate:
    """A value with standard uncertainty, interval and the counts behind it.

    Args:
        value: best estimate, in ``unit``.
        u: standard uncertainty (k = 1), same unit; ``inf`` or ``nan`` when none can be given.
        low: lower end of the coverage interval.
        high: upper end of the coverage interval.
        coverage: probability that the interval claims to cover, 0 < coverage < 1.
        unit: unit as it is printed, such as ``"1/s"`` or ``"µSv/h"``; empty for a pure number.
        counts: how many counts stand behind it; ``None`` where counting has no part in it.
        method: how value and interval were obtained, in a few words.

    Raises:
        ValueError: if ``coverage`` lies outside (0, 1) or ``low`` exceeds ``high``.
    """

    value: float
    u: float
    low: float
    high: float
    coverage: float = 0.95
    unit: str = ""
    counts: float | None = None
    method: str = ""

    def __post_init__(self) -> None:
        """Refuse what cannot be an interval."""
        if not 0.0 < self.coverage < 1.0:
            raise ValueError(f"coverage must lie between 0 and 1, not {self.coverage!r}")
        if self.low > self.high:
            raise ValueError(f"interval is upside down: {self.low!r} > {self.high!r}")

    @property
    def relative_u(self) -> float:
        """Standard uncertainty over value; ``inf`` for a value of zero."""
        return math.inf if self.value == 0.0 else abs(self.u / self.value)

    def scaled(self, factor: float, unit: str | None = None) -> Estimate:
        """Return the estimate times an exact ``factor``, optionally in another unit."""
        ends = sorted((self.low * factor, self.high * factor))
        return Estimate(
            self.value * factor,
            self.u * abs(factor),
            ends[0],
            ends[1],
            self.coverage,
            self.unit if unit is None else unit,
            self.counts,
            self.method,
        )
