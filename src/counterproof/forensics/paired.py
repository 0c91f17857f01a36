"""What the firmware is inferred from: pulses and displayed numbers of the same stretch of time."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field

import numpy as np
from numpy.typing import NDArray

from counterproof.errors import UserError
from counterproof.texts import text

Floats = NDArray[np.float64]
Ints = NDArray[np.int64]
Bools = NDArray[np.bool_]


@dataclass(frozen=True, eq=False)
class PairedRun:
    """Pulses (or clicks) and readings of one stretch, each on a clock of its own.

    Args:
        pulse_times_s: ascending event times, s from the start of the recording, shape (n,).
        duration_s: length of the recording, s.
        reading_times_s: ascending times of the readings, s, shape (k,).
        readings_usv_h: displayed momentary dose rates, µSv/h, shape (k,).
        gaps_s: stretches (start, end) in which no pulses could be heard, shape (m, 2).
        efficiency: share of the pulses that were heard, 0…1.
        efficiency_u: its standard uncertainty.
        resolving_time_s: pulses closer than this were heard as one.

    Raises:
        UserError: if times fall, shapes differ or numbers are not finite.
    """

    pulse_times_s: Floats
    duration_s: float
    reading_times_s: Floats
    readings_usv_h: Floats
    gaps_s: Floats = field(default_factory=lambda: np.empty((0, 2)))
    efficiency: float = 1.0
    efficiency_u: float = 0.0
    resolving_time_s: float = 0.0

    def __post_init__(self) -> None:
        """Refuse what no analysis could use."""
        arrays = (self.pulse_times_s, self.reading_times_s, self.readings_usv_h)
        if any(a.ndim != 1 or not np.isfinite(a).all() for a in arrays):
            raise UserError(text("forensics.not_finite"))
        if self.reading_times_s.shape != self.readings_usv_h.shape:
            raise UserError(text("forensics.shapes_differ"))
        if any(bool((np.diff(a) < 0).any()) for a in arrays[:2]):
            raise UserError(text("forensics.times_fall"))


@dataclass(frozen=True, eq=False)
class Joined:
    """Several runs laid one after another on one axis, far enough apart never to mix.

    Readings carry the run they belong to and the clock that timed them: one for all runs, or one
    for each where the clocks were set anew.
    """

    pulses: Floats
    at: Floats
    values: Floats
    run: Ints
    clock: Ints
    starts: Floats
    ends: Floats
    gaps: Floats
    clocks: int

    def usable(self, offsets: Floats, memory_s: float) -> Bools:
        """Return which readings look back ``memory_s`` on nothing but recorded pulses."""
        at = self.at + offsets[self.clock]
        good = (at - memory_s >= self.starts[self.run]) & (at <= self.ends[self.run])
        for start, end in self.gaps:
            good &= (at <= start) | (at - memory_s >= end)
        return np.asarray(good)


SPACING_S = 100_000.0


def join(runs: Sequence[PairedRun], own_clocks: bool = False) -> Joined:
    """Lay runs one after another, with one clock offset for all or one for each."""
    run = np.repeat(np.arange(len(runs)), [r.reading_times_s.size for r in runs])
    shift: Floats = np.asarray(SPACING_S * np.arange(len(runs)), dtype=np.float64)
    if any(r.duration_s > 0.5 * SPACING_S for r in runs) and len(runs) > 1:
        shift = np.asarray(np.arange(len(runs)) * 2.5 * max(r.duration_s for r in runs))
    return Joined(
        pulses=np.concatenate([r.pulse_times_s + s for r, s in zip(runs, shift, strict=True)]),
        at=np.concatenate([r.reading_times_s + s for r, s in zip(runs, shift, strict=True)]),
        values=np.concatenate([r.readings_usv_h for r in runs]),
        run=run,
        clock=run if own_clocks else np.zeros_like(run),
        starts=shift,
        ends=shift + np.array([r.duration_s for r in runs]),
        gaps=np.concatenate([r.gaps_s + s for r, s in zip(runs, shift, strict=True)]),
        clocks=len(runs) if own_clocks else 1,
    )
