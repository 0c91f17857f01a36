"""From a run's signals to a count rate and a dose rate, each with its uncertainty.

One place decides which signal speaks for a run, so that every trial treats them alike:

* count rate: the pulse train (corrected for resolving time, efficiency and false events), else
  the count log, else readings in counts per time, else a register of counts read twice;
* displayed dose rate: the accumulated register read at start and end, else the displayed average,
  else the momentary readings with the correlation that the display's window gives them;
* true dose rate, for a reference: its count rate over its calibrated sensitivity.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Sequence
from dataclasses import dataclass

import numpy as np

from counterproof.counting.difference import difference_of
from counterproof.counting.poisson import rate_estimate, rate_from_times
from counterproof.counting.ratio import ratio_of
from counterproof.counting.readings import displayed_average, momentary_mean, register_rate
from counterproof.quantities import Estimate
from counterproof.quantities.units import convert
from counterproof.signals.trains import CountLog, PulseTrain, ReadingLog
from counterproof.texts import text
from counterproof.trials.shape import Counter, Evidence

DOSE_RATE = "µSv/h"
LevelOf = Callable[[Evidence], "Level | None"]
# common practice, no source; both only bound an uncertainty and never enter a value
FALLBACK_WINDOW_S = 30.0
LOW_FACTOR_CPM = 60.0  # a small tube: fewer counts than most boxes have, so a wider interval


@dataclass(frozen=True)
class Level:
    """A rate that a run stands for.

    Args:
        estimate: the rate.
        seconds: recording time behind it.
        how: which signal spoke, in words.
        fixed_u: part of the uncertainty that more time cannot take away.
    """

    estimate: Estimate
    seconds: float
    how: str
    fixed_u: float = 0.0


def pulse_rate(train: PulseTrain) -> Estimate:
    """Return the true rate behind a pulse train in 1/s."""
    return rate_from_times(
        train.times_s,
        train.live_s,
        resolving_time_s=train.resolving_time_s,
        efficiency=train.efficiency,
        efficiency_u=train.efficiency_u,
        false_rate_per_s=train.false_rate_per_s,
        false_rate_u_per_s=train.false_rate_per_s,
    )


def count_rate(evidence: Evidence) -> Level | None:
    """Return the run's count rate in 1/s, or ``None`` when nothing of it counts."""
    if evidence.pulses is not None:
        train = evidence.pulses
        estimate = pulse_rate(train)
        fixed = estimate.value * train.efficiency_u / train.efficiency
        return Level(estimate, train.live_s, text("trials.how_pulses"), fixed)
    if evidence.counts is not None:
        return counted_level(evidence.counts)
    for log in evidence.readings:
        if log.quantity == "counts" and log.times_s.size >= 2:
            return _register(log, 1.0, "1/s")
    for log in evidence.readings:
        if log.quantity == "count_rate":
            return _displayed(log, evidence, convert(1.0, log.unit, "cps"), "1/s")
    return None


def counted_level(log: CountLog) -> Level:
    """Return the count rate of a count log in 1/s."""
    return Level(rate_estimate(log.count, log.live_s), log.live_s, text("trials.how_counts"))


def displayed_dose_rate(evidence: Evidence) -> Level | None:
    """Return the dose rate that the display claimed in µSv/h, or ``None`` without readings.

    Counts behind a reading follow from the run's own clicks where there are any, else from the
    stated factor, else from a cautious low one (common practice, no source).
    """
    by_field = {
        log.field: log
        for log in reversed(evidence.readings)
        if log.quantity == ("dose" if log.field == "accumulated" else "dose_rate")
    }
    register = by_field.get("accumulated")
    if register is not None and register.times_s.size >= 2:
        per_usv = _counts_per_usv_h(evidence) * 3600.0
        return _register(register, per_usv * convert(1.0, register.unit, "µSv"), DOSE_RATE)
    for name in ("average", "momentary"):
        log = by_field.get(name)
        if log is not None and log.times_s.size:
            per_unit = _counts_per_usv_h(evidence) * convert(1.0, log.unit, DOSE_RATE)
            return _displayed(log, evidence, per_unit, DOSE_RATE)
    return None


def momentary_dose_rate(evidence: Evidence) -> ReadingLog | None:
    """Return the run's log of displayed momentary dose rates, ``None`` without one."""
    logs = (x for x in evidence.readings if x.field == "momentary" and x.quantity == "dose_rate")
    return next(logs, None)


def stated_dose_rate(evidence: Evidence) -> Level | None:
    """Return what the stated factor would make of the clicks in µSv/h, or ``None``.

    Only one stated factor can be used: with several, which of them holds is unknown.
    """
    factors = evidence.counter.stated_cpm_per_usv_h
    rate = count_rate(evidence)
    if rate is None or len(factors) != 1:
        return None
    scale = 60.0 / factors[0]
    how = text("trials.how_stated", factor=f"{factors[0]:g}")
    return Level(rate.estimate.scaled(scale, DOSE_RATE), rate.seconds, how, rate.fixed_u * scale)


def indicated_dose_rate(evidence: Evidence) -> Level | None:
    """Return what the box says the dose rate is: its display, else clicks and stated factor."""
    return displayed_dose_rate(evidence) or stated_dose_rate(evidence)


def sensitivity_for(counter: Counter, nuclides: Sequence[str]) -> tuple[Estimate, str] | None:
    """Return a reference's sensitivity in 1/s per µSv/h and the nuclide it was stated for."""
    known = counter.sensitivity_per_s_per_usv_h
    for nuclide in (*nuclides, "any", *known):
        if nuclide in known:
            return known[nuclide], nuclide
    return None


def calibrated_for(evidence: Evidence) -> bool:
    """Whether a reference's calibration holds for the run's nuclides.

    A calibration with caesium says nothing about a source whose betas reach the reference's gas.
    """
    found = sensitivity_for(evidence.counter, evidence.nuclides)
    return found is not None and (found[1] == "any" or found[1] in evidence.nuclides)


def reference_dose_rate(evidence: Evidence) -> Level | None:
    """Return the dose rate that a reference counter measured in µSv/h, or ``None``."""
    rate = count_rate(evidence)
    found = sensitivity_for(evidence.counter, evidence.nuclides)
    if rate is None or found is None:
        return None
    sensitivity, nuclide = found
    own = evidence.counter.own_background_per_s
    radiation = shifted(rate.estimate, -own)
    return Level(
        over(radiation, sensitivity, DOSE_RATE),
        rate.seconds,
        text("trials.how_reference", nuclide=nuclide),
        radiation.value / sensitivity.value * sensitivity.relative_u,
    )


def over(top: Estimate, bottom: Estimate, unit: str = "") -> Estimate:
    """Return the ratio of two independent estimates in ``unit``."""
    found = ratio_of(top, bottom)
    return Estimate(
        found.value,
        found.u,
        found.low,
        found.high,
        found.coverage,
        unit,
        top.counts if bottom.counts is None else found.counts,
        found.method,
    )


def shifted(e: Estimate, by: float) -> Estimate:
    """Return an estimate moved by an exact amount, not below zero."""
    low, value, high = (max(x + by, 0.0) for x in (e.low, e.value, e.high))
    return Estimate(value, e.u, low, high, e.coverage, e.unit, e.counts, e.method)


def net_by_calibration(group: Sequence[Evidence], background: Sequence[Evidence]) -> Level | None:
    """Return the net dose rate that one reference measured in µSv/h, or ``None``."""
    counts = net(group, background, count_rate)
    found = sensitivity_for(group[0].counter, group[0].nuclides)
    if counts is None or found is None:
        return None
    sensitivity, nuclide = found
    dose = over(counts.estimate, sensitivity, DOSE_RATE)
    how = text("trials.how_reference", nuclide=nuclide)
    return Level(dose, counts.seconds, how, abs(dose.value) * sensitivity.relative_u)


def fixed_u_of_ratio(ratio: Estimate, top: Level, bottom: Level) -> float:
    """Return the part of a ratio's uncertainty that more time cannot take away."""
    shares = (x.fixed_u / max(abs(x.estimate.value), 1e-30) for x in (top, bottom))
    return abs(ratio.value) * math.hypot(*shares)


def pooled(levels: Sequence[Level]) -> Level:
    """Return one level for several runs of one counter in one place.

    Counts are added and exposures too, so that no run counts more than its time is worth; the
    part that time cannot take away is carried over whole.

    Raises:
        ValueError: for no levels at all.
    """
    if not levels:
        raise ValueError("nothing to pool")
    if len(levels) == 1:
        return levels[0]
    seconds = sum(level.seconds for level in levels)
    unit = levels[0].estimate.unit
    counts = [level.estimate.counts for level in levels]
    value = sum(level.estimate.value * level.seconds for level in levels) / seconds
    fixed = sum(level.fixed_u * level.seconds for level in levels) / seconds
    if all(c is not None for c in counts):
        total = float(sum(c for c in counts if c is not None))
        plain = rate_estimate(total, total / value if value > 0.0 else seconds)
        widen = math.hypot(plain.u, fixed) / plain.u
        estimate = Estimate(
            value,
            plain.u * widen,
            max(0.0, value - (value - plain.low) * widen),
            value + (plain.high - value) * widen,
            plain.coverage,
            unit,
            total,
            levels[0].estimate.method,
        )
    else:
        longest = max(levels, key=lambda level: level.seconds)
        estimate = longest.estimate
    return Level(estimate, seconds, levels[0].how, fixed)


def _counts_per_usv_h(evidence: Evidence) -> float:
    """Counts per second behind a display of 1 µSv/h, for the uncertainty of a reading alone."""
    momentary = [
        log for log in evidence.readings if log.quantity == "dose_rate" and log.times_s.size
    ]
    if evidence.pulses is not None and evidence.pulses.count >= 20 and momentary:
        shown = float(np.mean(momentary[0].values)) * convert(1.0, momentary[0].unit, DOSE_RATE)
        if shown > 0.0:
            return evidence.pulses.count / evidence.pulses.live_s / shown
    if evidence.counter.stated_cpm_per_usv_h:
        return evidence.counter.stated_cpm_per_usv_h[0] / 60.0
    return LOW_FACTOR_CPM / 60.0


def _register(log: ReadingLog, counts_per_unit: float, unit: str) -> Level:
    """Rate from the first and the last reading of an accumulated register."""
    seconds = float(log.times_s[-1] - log.times_s[0])
    per = 3600.0 if unit == DOSE_RATE else 1.0
    scale = convert(1.0, log.unit, "µSv") if unit == DOSE_RATE else 1.0
    found = register_rate(
        float(log.values[0]),
        float(log.values[-1]),
        seconds,
        counts_per_unit,
        quantum=log.quantum or 0.0,
    )
    return Level(found.scaled(per * scale, unit), seconds, text("trials.how_register"))


def _displayed(log: ReadingLog, evidence: Evidence, counts_per_s: float, unit: str) -> Level:
    """Rate from a displayed average (its last reading) or from the momentary readings' mean."""
    scale = convert(1.0, log.unit, "cps" if unit == "1/s" else unit)
    quantum = log.quantum or 0.0
    if log.field == "average":
        seconds = max(float(log.times_s[-1]), evidence.seconds)
        found = displayed_average(float(log.values[-1]), seconds, counts_per_s, quantum=quantum)
        how = text("trials.how_average")
    else:
        window = evidence.counter.window_s or FALLBACK_WINDOW_S
        seconds = max(float(log.times_s[-1] - log.times_s[0]) + window, window)
        found = momentary_mean(
            log.times_s,
            log.values,
            window,
            counts_per_s_per_unit=counts_per_s,
            quantum=quantum,
        )
        how = text("trials.how_momentary")
    fixed = quantum / math.sqrt(12.0) * scale
    return Level(found.scaled(scale, unit), seconds, how, fixed)


def expected_dose_rate(group: Sequence[Evidence]) -> Estimate | None:
    """Return what physics expects where the runs of a group stood, ``None`` where it was not asked.

    In µSv/h; without a source that of natural background at an ordinary place.
    """
    return next((e.expected_usv_h for e in group if e.expected_usv_h is not None), None)


def by_counter(evidence: Sequence[Evidence]) -> list[tuple[str, list[Evidence]]]:
    """Return the runs grouped by instrument, in order of appearance."""
    names = dict.fromkeys(e.counter.name for e in evidence)
    return [(n, [e for e in evidence if e.counter.name == n]) for n in names]


def pool(group: Sequence[Evidence], level: LevelOf) -> Level | None:
    """Return one level for the runs of a group that have it, or ``None`` when none has."""
    found = [x for x in (level(e) for e in group) if x is not None]
    return pooled(found) if found else None


def net(group: Sequence[Evidence], background: Sequence[Evidence], level: LevelOf) -> Level | None:
    """Return the level of the runs with a source less that of the background runs.

    ``None`` when either is missing: a gross rate is never passed off as a net one.
    """
    on, off = pool(group, level), pool(background, level)
    if on is None or off is None:
        return None
    estimate = difference_of(on.estimate, off.estimate)
    return Level(
        Estimate(
            estimate.value,
            estimate.u,
            estimate.low,
            estimate.high,
            estimate.coverage,
            on.estimate.unit,
            on.estimate.counts,
            estimate.method,
        ),
        on.seconds,
        on.how,
        math.hypot(on.fixed_u, off.fixed_u),
    )
