"""Pulses that no radiation made, or that something smoothed: four tests with their power."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from counterproof.counting.changepoints import find_changes
from counterproof.counting.dispersion import dispersion_test
from counterproof.counting.intervals import short_excess
from counterproof.counting.periodicity import mains_test
from counterproof.signals.trains import PulseTrain

Floats = NDArray[np.float64]

FEWEST_PULSES = 150
ALARM = 0.001
"""p value, after allowing for the tests of one run, below which a run is called disturbed."""


@dataclass(frozen=True)
class Disturbance:
    """One test of one pulse train.

    Args:
        kind: ``"double pulses"``, ``"mains pickup"``, ``"unsteady"`` or ``"too regular"``.
        p_value: probability of such a result without a disturbance, this test alone.
        size: measured size of the effect (share of pulses, or index of dispersion).
        seen: size that this run would have noticed.
    """

    kind: str
    p_value: float
    size: float
    seen: float

    @property
    def found(self) -> bool:
        """Whether the run is called disturbed in this way."""
        return self.p_value < ALARM


def disturbances(train: PulseTrain) -> Sequence[Disturbance]:
    """Test one pulse train in a steady field; empty for fewer than 150 pulses.

    A recording's resolving time hides what is closer; gaps are left out of the intervals.

    Args:
        train: pulses of one run without a change of field.
    """
    t = train.times_s
    if t.size < FEWEST_PULSES:
        return ()
    waits = np.diff(t)
    for start, end in train.gaps_s:
        waits = waits[~((t[:-1] < end) & (t[1:] > start))]
    dead = max(train.resolving_time_s, float(waits.min()))
    double = short_excess(waits, dead)
    mains = mains_test(t)
    counts, lengths = _bins(train)
    spread = dispersion_test(counts, lengths)
    changes = find_changes(counts, lengths, 0.01)
    change_p = min((c.p_value for c in changes.changes), default=1.0)
    seen_double = 3.3 * float(np.sqrt(max(double.expected, 1.0))) / waits.size
    return (
        Disturbance("double pulses", double.p_value, double.share.value, seen_double),
        Disturbance(
            "mains pickup", mains.p_value, mains.strongest.share, mains.strongest.seen_share
        ),
        Disturbance(
            "unsteady", min(1.0, 2.0 * min(spread.p_over, change_p)), spread.index, spread.seen_over
        ),
        Disturbance("too regular", spread.p_under, spread.index, spread.seen_under),
    )


def _bins(train: PulseTrain) -> tuple[Floats, Floats]:
    """Return counts and live times in bins of about twenty pulses, gaps taken off."""
    number = int(np.clip(train.count / 20, 8, 400))
    edges = np.linspace(0.0, train.duration_s, number + 1)
    counts = np.histogram(train.times_s, edges)[0].astype(np.float64)
    lost = np.zeros(number)
    for start, end in train.gaps_s:
        lost += np.clip(np.minimum(edges[1:], end) - np.maximum(edges[:-1], start), 0.0, None)
    live = np.diff(edges) - lost
    whole = live > 0.5 * np.diff(edges)
    return counts[whole], live[whole]
