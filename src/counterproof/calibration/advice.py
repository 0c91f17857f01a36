"""What to enter in the menu, and what remains wrong afterwards."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from counterproof.calibration.fit import Fit
from counterproof.calibration.rows import DOSE_RATE, band_of, log_normal, with_loss
from counterproof.readout.menu import best_step
from counterproof.records import Measured
from counterproof.records.calibration import Advice, CalibrationLevel
from counterproof.texts import text

SAME_FACTOR = 0.07
"""Counts behind a reading that differ by less belong to one factor."""


@dataclass(frozen=True, slots=True)
class Dial:
    """A factor that the menu can set, in cpm/(µSv/h); where it works is one of the kit's words."""

    name: str
    low: float
    high: float
    step: float
    present: float | None = None
    applies: str = "everywhere"


def advice_on(
    dials: Sequence[Dial],
    found: Fit,
    levels: Sequence[CalibrationLevel],
    counts_fit: Fit | None,
) -> tuple[Advice, ...]:
    """Try every step of each dial on the levels where it works."""
    advice = []
    for dial in dials:
        works = [_works(dial, found, level) for level in levels[:-1]]
        # what stood behind the readings, for the file may tell of another day
        present = _behind(found, works) or dial.present
        if present is None or not any(works):
            continue
        response = np.array([_model_response(found, i) for i in range(len(works))])
        best = best_step(
            np.ones(len(works)), response, np.array(works),
            present=present, low=dial.low, high=dial.high, step=dial.step,
        )  # fmt: skip
        if counts_fit is not None:
            ln, u = counts_fit.ln_s(0)
            ideal = log_normal(ln + math.log(60.0), u, "cpm/(µSv/h)", sum(counts_fit.counts))
        else:
            ln, u = found.ln_s(band_of(found, levels[works.index(True)].shown.value or 0.0))
            ideal = log_normal(ln + math.log(present), u, "cpm/(µSv/h)", sum(found.counts))
        remaining = np.abs(best.remaining)
        worst = int(np.argmax(remaining))
        advice.append(
            Advice(
                setting=dial.name,
                unit="cpm/(µSv/h)",
                present=present,
                best=best.value,
                ideal=Measured.of(ideal),
                worst_percent=100.0 * float(remaining[worst]),
                worst_at=levels[worst].label,
                applies=dial.applies,
                note="" if all(works) else text("calibration.dial_partial", where=dial.applies),
            )
        )
    return tuple(advice)


def _works(dial: Dial, found: Fit, level: CalibrationLevel) -> bool:
    """Whether a dial works at a level: by the switch, else by the counts behind a reading."""
    if dial.applies == "everywhere":
        return True
    above = dial.applies == "above the switch"
    if found.model == "two factors":
        return above == (band_of(found, level.shown.value or 0.0) == 1)
    per = {x.label: x.seen.cps_per_unit for x in found.problem.levels if x.seen.cps_per_unit > 0}
    if level.label not in per or found.problem.unit != DOSE_RATE:
        return True
    top = max(found.problem.levels, key=lambda x: x.seen.rate).label
    alike = abs(per[level.label] / per.get(top, per[level.label]) - 1.0) < SAME_FACTOR
    return alike == above or len(per) < 2


def _behind(found: Fit, works: Sequence[bool]) -> float | None:
    """The factor in use at the levels where a dial works: counts per minute behind 1 µSv/h."""
    per = [
        60.0 * level.seen.cps_per_unit
        for level, w in zip(found.problem.levels, works, strict=True)
        if w and level.seen.cps_per_unit > 0
    ]
    return float(np.median(per)) if per and found.problem.unit == DOSE_RATE else None


def _model_response(found: Fit, i: int) -> float:
    level = found.problem.levels[i]
    ln, _ = found.ln_s(band_of(found, level.seen.rate), float(found.x_usv_h[i]))
    expected = math.exp(ln) * float(found.x_usv_h[i])
    return math.exp(ln) * with_loss(found, expected, level.seen) / expected


def with_remaining(
    levels: list[CalibrationLevel], advice: Sequence[Advice], dials: Sequence[Dial], found: Fit
) -> list[CalibrationLevel]:
    """Enter what each level shows wrong with the advised settings, as it was observed."""
    rows = []
    named = {d.name: d for d in dials}
    for level in levels:
        if level.response is None or level.response.value is None:
            rows.append(level)
            continue
        gain = 1.0
        for a in advice:
            if a.present and _works(named[a.setting], found, level):
                gain *= a.present / a.best
        error = 100.0 * (gain * level.response.value - 1.0)
        rows.append(level.model_copy(update={"remaining_percent": error}))
    return rows
