"""Which runs stand at one place, and the true dose rate there."""

from __future__ import annotations

import math
from collections.abc import Sequence

from counterproof.quantities import Estimate
from counterproof.trials import levels as lv
from counterproof.trials.shape import Counter, Evidence
from counterproof.trials.shared import normal

Place = tuple[tuple[str, ...], float | None]
"""Sources and distance in mm."""


def open_background(e: Evidence) -> bool:
    """Whether a run shows the place's background, no source and no shield about."""
    return e.run.is_background and e.run.position.is_open


def place_of(e: Evidence) -> Place:
    """Return where a run stood."""
    return e.run.sources, e.run.position.distance_mm


def at(place: Place, runs: Sequence[Evidence]) -> list[Evidence]:
    """Return the plain runs at a place."""
    return [
        e for e in runs if place_of(e) == place and e.run.with_source and e.run.position.is_open
    ]


def referred(
    place: Place, counter: Counter, evidence: Sequence[Evidence], *, calibrated: bool = False
) -> tuple[lv.Level, tuple[str, ...]] | None:
    """Return the net dose rate by a reference at a place in µSv/h, with the runs behind it.

    Args:
        place: where.
        counter: the counter under test, which is no reference for itself.
        evidence: the references' runs among others.
        calibrated: only by a reference that is calibrated for the nuclides there.
    """
    for name, theirs in lv.by_counter([e for e in evidence if e.counter.is_reference]):
        there = at(place, theirs)
        if name == counter.name or not there or (calibrated and not lv.calibrated_for(there[0])):
            continue
        net = lv.net_by_calibration(there, [e for e in theirs if open_background(e)])
        if net is not None and net.estimate.value > 0.0:
            return net, tuple(e.run.id for e in there)
    return None


def relative_dose(
    place: Place, counter: Counter, evidence: Sequence[Evidence], group: Sequence[Evidence]
) -> Estimate | None:
    """Return the net dose rate at a place for comparing places: what is common to all is left out.

    By a reference, its calibration's uncertainty taken out; else as physics expects for ``group``.
    """
    found = referred(place, counter, evidence)
    if found is None:
        return lv.expected_dose_rate(group)
    level = found[0]
    u = math.sqrt(max(level.estimate.u**2 - level.fixed_u**2, 0.0))
    return normal(level.estimate.value, u, lv.DOSE_RATE)
