"""Readout: clicks and display at several levels give the firmware model.

The trial lives here and not among the others because its analysis is the firmware inference of
this room. It has their shape all the same.
"""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from counterproof.forensics.answer import UNDETERMINED, ReadoutFit
from counterproof.forensics.firmware import fit_readout
from counterproof.forensics.paired import PairedRun
from counterproof.forensics.silentfindings import silent_answer
from counterproof.quantities import Estimate
from counterproof.quantities.units import convert
from counterproof.records import (
    Chart,
    Judgement,
    Mark,
    Measured,
    Outcome,
    Plan,
    PlannedRun,
    Row,
    Series,
)
from counterproof.records.outcome import worst
from counterproof.texts import text
from counterproof.trials import levels as lv
from counterproof.trials.criteria import Profile
from counterproof.trials.judge import judge
from counterproof.trials.shape import Ask, Counter, Evidence, Trial
from counterproof.trials.shared import not_yet, plan_of

NAME = "readout"
LEVELS = 5
MINUTES = 12.0
DRAWN = 400


def plan(ask: Ask) -> Plan:
    """Plan an hour of clicks and display over five levels."""
    run = PlannedRun(
        instrument=ask.subject.name,
        what=text("trials.readout.run"),
        minutes=MINUTES,
        sources=ask.sources[:1],
        reason=text("trials.readout.reason"),
    )
    return plan_of(TRIAL, (run,) * LEVELS, text("trials.readout.expected"))


def paired_run(e: Evidence) -> PairedRun | None:
    """Return a run's clicks and momentary dose rates as a pair, ``None`` if it lacks either."""
    log = lv.momentary_dose_rate(e)
    if e.pulses is None or log is None:
        return None
    return PairedRun(
        e.pulses.times_s,
        e.pulses.duration_s,
        log.times_s,
        log.values * convert(1.0, log.unit, lv.DOSE_RATE),
        e.pulses.gaps_s,
        e.pulses.efficiency,
        e.pulses.efficiency_u,
        e.pulses.resolving_time_s,
    )


def paired_runs(name: str, evidence: Sequence[Evidence]) -> list[tuple[str, PairedRun]]:
    """Return the runs of an instrument that hold both pulses and momentary readings, by id.

    Runs with anything but the field altered on purpose are left out, steps of the field are not.
    """
    own = (e for e in evidence if e.counter.name == name and not _disturbed(e))
    return [(e.run.id, run) for e in own if (run := paired_run(e)) is not None]


def _disturbed(e: Evidence) -> bool:
    """Whether more than the field was altered: a step of the dose rate is what a readout needs."""
    return e.run.is_altered and "step_s" not in e.run.conditions


def analyse(subject: Counter, evidence: Sequence[Evidence], profile: Profile) -> Outcome:
    """Infer the firmware from the subject's paired runs.

    Args:
        subject: the counter under test; factors that its maker or menu states are judged.
        evidence: runs with clicks and momentary readings, at several levels if possible.
        profile: its ``ratio`` criterion judges found over stated factor.
    """
    paired = paired_runs(subject.name, evidence)
    if not paired:
        return _by_numbers_alone(subject, evidence)
    fit = fit_readout([run for _, run in paired])
    seconds = sum(run.duration_s for _, run in paired)
    judgements = _judged(subject, fit, profile, seconds)
    verdict = worst([j.verdict for j in judgements])
    if fit.model == UNDETERMINED:
        verdict = "cannot tell yet"
    statement = " ".join(fit.statements) or text("trials.readout.weak", instrument=subject.name)
    return Outcome(
        trial=NAME,
        instrument=subject.name,
        verdict=verdict,
        statement=statement,
        runs=tuple(run_id for run_id, _ in paired),
        judgements=tuple(judgements),
        table=tuple(_rows(subject.name, fit)),
        charts=tuple(_charts(subject.name, fit, paired)),
        warnings=fit.missing,
        method=text("trials.readout.method"),
    )


def _by_numbers_alone(subject: Counter, evidence: Sequence[Evidence]) -> Outcome:
    """Say what the display alone tells: a change of factor, its place, step and refresh."""
    nothing = text("trials.readout.nothing", instrument=subject.name)
    answer = silent_answer(subject, evidence)
    if not answer.statements:
        pairs = text("trials.readout.need_pairs")
        return not_yet(NAME, subject, nothing, [pairs], text("trials.readout.method"))
    own = [e for e in evidence if e.counter.name == subject.name and e.readings]
    return Outcome(
        trial=NAME,
        instrument=subject.name,
        verdict="cannot tell yet",
        statement=" ".join([nothing, *answer.statements]),
        runs=tuple(e.run.id for e in own),
        table=tuple(_rows(subject.name, answer)),
        warnings=answer.missing,
        method=text("trials.readout.method_alone"),
    )


def _judged(subject: Counter, fit: ReadoutFit, profile: Profile, seconds: float) -> list[Judgement]:
    """Found over stated factor, for each factor that is both found and stated."""
    stated = subject.stated_cpm_per_usv_h
    if len(stated) != len(fit.factors):
        return []
    return [
        judge(
            text("trials.readout.factor", subject=subject.name, stated=f"{known:g}"),
            found.scaled(1.0 / known, ""),
            profile.criterion("ratio"),
            seconds,
        )
        for known, found in zip(stated, fit.factors, strict=True)
    ]


def _rows(name: str, fit: ReadoutFit) -> list[Row]:
    values: dict[str, Measured | str | float | int | None] = {"model": fit.model}
    found: list[tuple[str, Estimate | None]] = [
        (f"factor {i}" if len(fit.factors) > 1 else "factor", f)
        for i, f in enumerate(fit.factors, start=1)
    ]
    found += [
        ("factor above over below", fit.factor_ratio),
        ("switch", fit.switch),
        ("time constant", fit.time_constant),
        ("step of the display", fit.quantum),
        ("hysteresis", fit.hysteresis),
        ("dead time corrected", fit.dead_time),
        ("background taken off", fit.background),
    ]
    values |= {key: Measured.of(e) for key, e in found if e is not None}
    values |= {
        "readings": fit.readings,
        "pulses": fit.pulses,
        "reproduced to the last digit in %": round(100.0 * fit.exact_share, 1),
    }
    return [Row(label=text("trials.readout.firmware"), instrument=name, values=values)]


def _charts(name: str, fit: ReadoutFit, paired: Sequence[tuple[str, PairedRun]]) -> list[Chart]:
    """Counts per minute in the display's window against what it displayed."""
    if fit.time_constant is None or not fit.factors:
        return []
    window = fit.time_constant.value * (2.0 if fit.kind == "exponential" else 1.0)
    x, y = [], []
    for _, run in paired:
        after = run.reading_times_s >= window
        at = run.reading_times_s[after]
        upper = np.searchsorted(run.pulse_times_s, at)
        lower = np.searchsorted(run.pulse_times_s, at - window)
        x.append(run.readings_usv_h[after])
        y.append(60.0 * (upper - lower) / window)
    shown, cpm = np.concatenate(x), np.concatenate(y)
    keep = np.flatnonzero((shown > 0) & (cpm > 0))
    keep = keep[:: max(1, keep.size // DRAWN)]
    if not keep.size:
        return []
    series = [
        Series(
            name=name,
            x=tuple(float(v) for v in shown[keep]),
            y=tuple(float(v) for v in cpm[keep]),
        )
    ]
    low, high = float(shown[keep].min()), float(shown[keep].max())
    for i, factor in enumerate(fit.factors):
        series.append(
            Series(
                name=text("trials.readout.line", factor=f"{factor.value:.0f}"),
                role=f"fitted {i + 1}",
                x=(low, high),
                y=(low * factor.value, high * factor.value),
            )
        )
    marks = () if fit.switch is None else (Mark(axis="x", at=fit.switch.value),)
    return [
        Chart(
            question=text("trials.readout.question_factors"),
            x_title=text("trials.ladder.axis_shown"),
            y_title=text("trials.readout.axis_cpm"),
            form="lines",
            log_x=True,
            log_y=True,
            series=tuple(series),
            marks=marks,
        )
    ]


TRIAL = Trial(
    name=NAME,
    question=text("trials.readout.question"),
    needs=(text("trials.readout.need_pairs"), text("trials.readout.need_levels")),
    bench_substitute=text("trials.readout.substitute"),
    cautions=(text("trials.caution_sources"),),
    plan=plan,
    analyse=analyse,
)
