"""The rungs of a dose-rate ladder: a source at several distances, the true dose rate at each."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from counterproof.quantities import Estimate
from counterproof.texts import text
from counterproof.trials import levels as lv
from counterproof.trials.shape import Counter, Evidence


@dataclass(frozen=True)
class Rung:
    """One distance of the ladder.

    Args:
        distance_mm: where the source stood.
        counts: gross count rate of the subject, if it counts.
        dose: net indicated dose rate.
        gross_dose: indicated dose rate, background included.
        truth: dose rate that a reference measured there, or that physics expects.
        stranger: a reference whose calibration is for another nuclide, where nothing better says
            the true dose rate: such a level is stated and not judged.
    """

    distance_mm: float
    counts: lv.Level | None
    dose: lv.Level | None
    gross_dose: lv.Level | None
    truth: lv.Level | None
    stranger: str | None = None

    @property
    def factor_cpm_per_usv_h(self) -> Estimate | None:
        """Counts per minute behind a display of 1 µSv/h at this level."""
        if self.counts is None or self.gross_dose is None:
            return None
        if self.gross_dose.estimate.value <= 0.0:
            return None
        shown = self.gross_dose.estimate
        # the display shows these very counts: its own counting scatter is theirs and cancels, what
        # is left is the display's step and the readings' imperfect overlap with the counts
        rate = self.counts.estimate
        value = 60.0 * rate.value / shown.value
        u = value * np.hypot(rate.relative_u, self.gross_dose.fixed_u / shown.value)
        low, high = max(0.0, value - 1.96 * u), value + 1.96 * u
        return Estimate(value, float(u), low, high, 0.95, "cpm/(µSv/h)", rate.counts)


def on_the_ladder(e: Evidence) -> bool:
    """Whether a run has one source at a distance with nothing between and nothing turned."""
    position = e.run.position
    return (
        e.run.with_source
        and len(e.run.sources) == 1
        and position.distance_mm is not None
        and position.is_open
    )


def ladders(runs: Sequence[Evidence]) -> dict[str, dict[float, list[Evidence]]]:
    """Return the runs on a ladder by source and distance in mm; all others are left out."""
    found: dict[str, dict[float, list[Evidence]]] = {}
    for e in runs:
        at = e.run.position.distance_mm
        if on_the_ladder(e) and at is not None:
            found.setdefault(e.run.sources[0], {}).setdefault(at, []).append(e)
    return found


def rungs_of(
    subject: Counter, evidence: Sequence[Evidence]
) -> tuple[list[Rung], str, list[Evidence]]:
    """Return the rungs from far to near, the source's name and the runs that were used.

    Of several sources the one with the most distances is taken.
    """
    background = [e for e in evidence if e.run.is_background]
    by_source = ladders([e for e in evidence if e.counter.name == subject.name])
    if not by_source:
        return [], "", []
    source = max(by_source, key=lambda s: len(by_source[s]))
    plain = [e for e in evidence if on_the_ladder(e) and e.run.sources[0] == source]
    rungs = []
    for distance, own in sorted(by_source[source].items(), reverse=True):
        here = [e for e in plain if e.run.position.distance_mm == distance]
        own_background = [e for e in background if e.counter.name == subject.name]
        truth, stranger = _truth(
            own, [e for e in here if e.counter.name != subject.name], background
        )
        rungs.append(
            Rung(
                distance,
                lv.pool(own, lv.count_rate),
                lv.net(own, own_background, lv.indicated_dose_rate),
                lv.pool(own, lv.displayed_dose_rate),
                truth,
                stranger,
            )
        )
    return rungs, source, plain + background


def _truth(
    own: Sequence[Evidence], others: Sequence[Evidence], background: Sequence[Evidence]
) -> tuple[lv.Level | None, str | None]:
    """Dose rate by a reference calibrated for the nuclide, else by physics, else by any reference.

    The last comes with the reference's name.
    """
    strange: tuple[lv.Level | None, str | None] = (None, None)
    for name, group in lv.by_counter([e for e in others if e.counter.is_reference]):
        theirs = [e for e in background if e.counter.name == name]
        measured = lv.net_by_calibration(group, theirs)
        if measured is not None and measured.estimate.value > 0.0:
            if lv.calibrated_for(group[0]):
                return measured, None
            strange = (measured, name)
    expected = lv.expected_dose_rate(own)
    if expected is not None:
        return lv.Level(expected, 0.0, text("trials.predicted"), expected.u), None
    return strange
