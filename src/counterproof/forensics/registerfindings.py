"""What a box's own numbers say about each other, as findings; no clicks are needed.

Momentary readings, average and accumulated dose come from the same pulses. Where they part at one
level, the register and the display go through different factors; where they part above a level and
agree below it, the display changes its factor there. And the scatter of steady readings tells
whether as many pulses stand behind them as factor and window allow.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from counterproof.counting.changepoints import find_changes
from counterproof.forensics.answer import ReadoutFit
from counterproof.forensics.consistency import Check, average_check, dose_check, scatter_check
from counterproof.forensics.ladder import LadderFit, fit_ladder
from counterproof.forensics.statements import shown
from counterproof.forensics.strength import LN10, bound_from_p, from_interval, in_words
from counterproof.quantities import Estimate
from counterproof.quantities.units import convert
from counterproof.records import Finding, Measured, NextMeasurement, Rival
from counterproof.signals.trains import ReadingLog
from counterproof.texts import text
from counterproof.trials import levels as lv
from counterproof.trials.shape import Evidence
from counterproof.trials.shared import normal

Floats = NDArray[np.float64]

FEWEST_READINGS = 10
STRETCH = 6.0
"""Memories of the display that one stretch of a long run must hold."""
MOST_STRETCHES = 12
DIFFERS_U = 3.3
"""Standard uncertainties from 1 by which registers must part (a chance of 0.1 %)."""
DIFFERS = 0.02
"""Share by which they must part to be worth a finding."""
SCATTER_P = 0.001
LEVEL_ALARM = 1e-4
"""Probability of a false change of level, for which a steady run would be set aside."""
NEAR_SWITCH = 1.3
"""Readings within this factor of the switch may belong to either range."""


@dataclass(frozen=True)
class Parted:
    """Register beside momentary readings over one stretch.

    Args:
        run: its run.
        level_usv_h: mean of the momentary readings.
        check: the comparison.
    """

    run: str
    level_usv_h: float
    check: Check


def register_findings(name: str, own: Sequence[Evidence], fit: ReadoutFit | None) -> list[Finding]:
    """Return whether momentary readings, average and accumulated dose agree.

    Args:
        name: the instrument.
        own: its runs.
        fit: its firmware if it was inferred, for window, step and factor.
    """
    found = []
    for kind in ("average", "dose"):
        parted = [p for e in own for p in stretches(e, fit) if p.check.name == kind]
        if not parted:
            continue
        step = factor_step(parted)
        if step is not None and step.step is not None:
            found.append(_stepped(name, kind, parted, step))
        else:
            found.append(_pooled(name, kind, parted))
    return found


def factor_step(parted: Sequence[Parted]) -> LadderFit | None:
    """Look for a level above which the momentary readings leave the register.

    Counting scatter is common to both, so the uncertainty is that of their ends and rounding.
    """
    displayed, register = [], []
    for p in parted:
        ratio, level = p.check.ratio, p.level_usv_h
        u = level * max(ratio.relative_u, 1e-3)
        displayed.append(normal(level, u, lv.DOSE_RATE))
        register.append(normal(level * ratio.value, 0.0, lv.DOSE_RATE))
    return fit_ladder(displayed, register)


def stretches(e: Evidence, fit: ReadoutFit | None) -> list[Parted]:
    """Return the comparisons that a run's reading logs allow, stretch by stretch of a long run."""
    logs = {log.field: log for log in reversed(e.readings) if log.quantity in ("dose_rate", "dose")}
    momentary = logs.get("momentary")
    if momentary is None or momentary.times_s.size < FEWEST_READINGS:
        return []
    times = momentary.times_s
    values = momentary.values * convert(1.0, momentary.unit, lv.DOSE_RATE)
    window = fit.time_constant.value if fit and fit.time_constant else e.counter.window_s or 60.0
    factor = fit.factors[0].value if fit and fit.factors else 60.0
    quantum = fit.quantum.value if fit and fit.quantum else momentary.quantum or 0.0
    number = int(np.clip((times[-1] - times[0]) / (STRETCH * window), 1, MOST_STRETCHES))
    found = []
    for part in np.array_split(np.arange(times.size), number):
        if part.size < FEWEST_READINGS:
            continue
        t, v = times[part], values[part]
        known = {"quantum": quantum, "window_s": window, "factor_cpm_per_usv_h": factor}
        checks = [
            _dose(logs.get("accumulated"), t, v, known),
            _average(logs.get("average"), t, v, float(times[0]), known),
        ]
        level = float(np.mean(v))
        found += [
            Parted(e.run.id, level, c)
            for c in checks
            if c is not None and np.isfinite(c.ratio.value) and c.ratio.value > 0
        ]
    return found


def _dose(log: ReadingLog | None, t: Floats, v: Floats, known: dict[str, float]) -> Check | None:
    if log is None or log.times_s.size < 2:
        return None
    scale = convert(1.0, log.unit, "µSv")
    start, end = _at(log, t[0]), _at(log, t[-1])
    # most of the step may hide in the last digit of a slow register
    step = log.quantum or _smallest_move(log)
    if (end - start) <= 8.0 * step:
        return None
    return dose_check(t, v, start * scale, end * scale, dose_quantum_usv=step * scale, **known)


def _average(
    log: ReadingLog | None, t: Floats, v: Floats, first_s: float, known: dict[str, float]
) -> Check | None:
    """Compare the average over a stretch of a run in which it was reset at the start.

    When the reset lies at an unknown time the average says nothing about this run alone.
    """
    if log is None or log.times_s.size < 2:
        return None
    first = int(np.argmax(log.times_s >= first_s))
    scale = convert(1.0, log.unit, lv.DOSE_RATE)
    moved = float(np.abs(np.diff(log.values[:20])).max(initial=0.0))
    if log.times_s[first] > 60.0 or moved * scale <= 2.0 * known["quantum"]:
        return None
    start, end = _at(log, t[0]) * scale, _at(log, t[-1]) * scale
    return average_check(t, v, start, end, float(t[0]), **known)


def _at(log: ReadingLog, time_s: float) -> float:
    return float(log.values[max(int(np.searchsorted(log.times_s, time_s, side="right")) - 1, 0)])


def _smallest_move(log: ReadingLog) -> float:
    moves = np.diff(np.unique(log.values))
    return float(moves.min()) if moves.size else 0.0


def _runs(parted: Sequence[Parted]) -> tuple[str, ...]:
    return tuple(dict.fromkeys(p.run for p in parted))


def _pooled(name: str, kind: str, parted: Sequence[Parted]) -> Finding:
    """One ratio over all stretches."""
    ratios = [p.check.ratio for p in parted]
    w = np.array([1.0 / r.u**2 for r in ratios])
    mean = float(np.average([r.value for r in ratios], weights=w))
    u = float(1.0 / np.sqrt(w.sum()))
    off = abs(mean - 1.0) / u
    factor = from_interval(off, 10.0)
    differs = off > DIFFERS_U and abs(mean - 1.0) > DIFFERS
    return Finding(
        instrument=name,
        subject=text(f"findings.subject_{kind}"),
        statement=text(
            f"findings.{kind}_{'differs' if differs else 'agrees'}",
            ratio=f"{mean:.3f}",
            u=f"{1.96 * u:.3f}",
        ),
        runs=_runs(parted),
        strength=in_words(factor if differs else max(-factor, 0.0)),
        log10_bayes_factor=factor if differs else -factor,
        measured=Measured(value=mean, u=u, low=mean - 1.96 * u, high=mean + 1.96 * u),
        rivals=(Rival(statement=text("findings.register_rival")),),
        refuted_by=text("findings.register_refuted"),
        next_measurement=_next(),
    )


def _stepped(name: str, kind: str, parted: Sequence[Parted], step: LadderFit) -> Finding:
    """A level above which the display leaves the register."""
    assert step.step is not None
    assert step.switch_usv_h is not None
    low, high = step.switch_usv_h
    return Finding(
        instrument=name,
        subject=text(f"findings.subject_{kind}"),
        statement=text(
            "findings.register_step",
            register=text(f"findings.register_{kind}"),
            low=f"{low:.2g}",
            high=f"{high:.2g}",
            step=shown(step.step),
        ),
        runs=_runs(parted),
        strength=in_words(step.log_lead / LN10),
        log10_bayes_factor=step.log_lead / LN10,
        measured=Measured.of(step.step),
        rivals=(
            Rival(
                statement=text("findings.register_step_rival"),
                log10_bayes_factor=-step.log_lead / LN10,
                set_aside_because=text("findings.explains_less"),
            ),
            Rival(statement=text("findings.register_rival")),
        ),
        refuted_by=text("findings.register_step_refuted", low=f"{low:.2g}", high=f"{high:.2g}"),
        next_measurement=_next(),
    )


def _next() -> NextMeasurement:
    return NextMeasurement(
        what=text("findings.register_next"),
        minutes=20.0,
        separates=text("findings.register_separates"),
    )


def scatter_findings(name: str, own: Sequence[Evidence], fit: ReadoutFit | None) -> list[Finding]:
    """Return whether steady readings scatter as the counts behind them allow, runs pooled.

    Args:
        name: the instrument.
        own: its runs, each in a steady field.
        fit: its firmware; without one the stated window and the one stated factor are used, and
            nothing is said where either is unknown.
    """
    checks = [(e.run.id, c) for e in own if (c := steady_scatter(e, fit)) is not None]
    if not checks:
        return []
    from scipy.special import gammainc, gammaincinv

    dof = sum(c.ratio.counts or 0.0 for _, c in checks)
    square = sum((c.ratio.counts or 0.0) * c.ratio.value**2 for _, c in checks)
    value = float(np.sqrt(square / dof))
    under = float(gammainc(dof / 2.0, square / 2.0))
    p = 2.0 * min(under, 1.0 - under)
    ends = (float(np.sqrt(square / (2.0 * gammaincinv(dof / 2.0, q)))) for q in (0.975, 0.025))
    low, high = ends
    u = value / float(np.sqrt(2.0 * dof))
    ratio = Estimate(value, u, low, high, 0.95, "", dof, "χ² of steady readings")
    key = "smooth" if value < 1.0 else "rough"
    if p >= SCATTER_P:
        key = "agrees"
    against = from_interval(abs(value - 1.0) / u, 1.0 / u)
    factor = max(-against, 0.0) if key == "agrees" else bound_from_p(p)
    finding = Finding(
        instrument=name,
        subject=text("findings.subject_scatter"),
        statement=text(f"findings.scatter_{key}", ratio=shown(ratio)),
        runs=tuple(r for r, _ in checks),
        strength=in_words(factor),
        log10_bayes_factor=factor,
        measured=Measured.of(ratio),
        rivals=(Rival(statement=text(f"findings.scatter_{key}_rival")),),
        refuted_by=text("findings.scatter_refuted"),
        next_measurement=NextMeasurement(
            what=text("findings.scatter_next"),
            minutes=30.0,
            separates=text("findings.scatter_separates"),
        ),
    )
    return [finding]


def steady_scatter(e: Evidence, fit: ReadoutFit | None) -> Check | None:
    """Return the scatter check of one run, ``None`` where window or factor are unknown.

    A run in which the display was still settling, or near the switch, is left out.
    """
    log = lv.momentary_dose_rate(e)
    if log is None or e.run.is_altered:
        return None
    values = log.values * convert(1.0, log.unit, lv.DOSE_RATE)
    window = _window(e, fit)
    if window is None:
        return None
    settled = log.times_s >= log.times_s[0] + (window if e.seconds > 6.0 * window else 0.0)
    times, values = log.times_s[settled], values[settled]
    if times.size < FEWEST_READINGS or times[-1] - times[0] < 3.0 * window:
        return None
    mean = float(values.mean())
    factor = _factor_at(e, mean, fit)
    if factor is None or mean <= 0:
        return None
    if fit is not None and fit.background is not None:
        # counts that the firmware takes off the display scatter in it all the same
        factor *= mean / (mean + fit.background.value / factor)
    if not _one_level(times, values, factor, window):
        return None
    quantum = fit.quantum.value if fit and fit.quantum else log.quantum or 0.0
    return scatter_check(times, values, factor, window, quantum=quantum)


def _one_level(times: Floats, values: Floats, factor: float, window: float) -> bool:
    """Whether readings a window apart, turned into counts, show no change of level."""
    at = np.arange(times[0], times[-1], window)
    apart = values[np.clip(np.searchsorted(times, at), 0, times.size - 1)]
    counts = np.round(apart * factor / 60.0 * window)
    return counts.size < 2 or not find_changes(counts, None, LEVEL_ALARM).changes


def _window(e: Evidence, fit: ReadoutFit | None) -> float | None:
    """Boxcar that scatters as the display does: twice the time constant of an exponential."""
    if fit is not None and fit.factors:
        if fit.time_constant is None:
            return None
        return fit.time_constant.value * (2.0 if fit.kind == "exponential" else 1.0)
    return e.counter.window_s


def _factor_at(e: Evidence, level: float, fit: ReadoutFit | None) -> float | None:
    """Counts per minute behind 1 µSv/h at a level; ``None`` where the range is not certain."""
    if fit is None or not fit.factors:
        stated = e.counter.stated_cpm_per_usv_h
        return stated[0] if len(stated) == 1 else None
    if len(fit.factors) == 1 or fit.switch is None:
        return fit.factors[0].value
    first, second = (f.value for f in fit.factors)
    below = min(fit.switch.low, fit.switch.low * first / second) / NEAR_SWITCH
    above = max(fit.switch.high, fit.switch.high * first / second) * NEAR_SWITCH
    if level < below:
        return first
    return second if level > above else None
