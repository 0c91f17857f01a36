"""Findings: statements about an instrument, each with evidence, strength, rivals and a refutation.

A finding is stated only where its evidence is at least substantial; what was looked for and not
found is one finding too, with the size of effect that would have been seen.
"""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from counterproof.forensics.answer import ReadoutFit
from counterproof.forensics.consistency import Check, average_check, dose_check
from counterproof.forensics.interference import Disturbance, disturbances
from counterproof.forensics.responsefindings import response_findings
from counterproof.forensics.statements import shown
from counterproof.forensics.strength import bound_from_p, from_interval, in_words
from counterproof.quantities.units import convert
from counterproof.records import Finding, Measured, NextMeasurement, Rival
from counterproof.signals.trains import ReadingLog
from counterproof.texts import text
from counterproof.trials.shape import Counter, Evidence

LN10 = float(np.log(10.0))


def findings_of(
    counter: Counter, evidence: Sequence[Evidence], fit: ReadoutFit | None, fit_runs: Sequence[str]
) -> list[Finding]:
    """Return what the evidence says about a counter, firmware first.

    Args:
        counter: the counter under test.
        evidence: its own runs and those of the references.
        fit: its firmware, if one was inferred.
        fit_runs: ids of the runs behind ``fit``.
    """
    own = [e for e in evidence if e.counter.name == counter.name]
    found: list[Finding] = []
    if fit is not None:
        found += readout_findings(counter.name, fit, tuple(fit_runs))
    found += register_findings(counter.name, own, fit)
    found += disturbance_findings(counter.name, own)
    found += response_findings(counter, evidence)
    return [f.model_copy(update={"id": _key(f)}) for f in found]


def _key(finding: Finding) -> str:
    return f"{finding.instrument} {finding.subject}".replace(" ", "-")


def readout_findings(name: str, fit: ReadoutFit, runs: tuple[str, ...]) -> list[Finding]:
    """Return what a firmware inference says: number of factors, kind of estimator."""
    if not fit.factors:
        return []
    found = []
    ones = [h for h in fit.hypotheses if h.structure.factors == 1]
    twos = [h for h in fit.hypotheses if h.structure.factors == 2]
    if ones and twos:
        two = len(fit.factors) == 2
        best = max(twos if two else ones, key=lambda h: h.score)
        others = ones if two else twos
        lead = best.score - max(h.score for h in others)
        rivals = tuple(
            Rival(
                statement=_hypothesis(h.structure.factors, h.structure),
                log10_bayes_factor=(h.score - best.score) / LN10,
                set_aside_because=text("findings.explains_less"),
            )
            for h in sorted(fit.hypotheses, key=lambda h: -h.score)
            if h is not best
        )
        minutes = _settled_minutes(fit)
        low, high = fit.seen_usv_h
        if two and fit.switch is not None:
            statement = text(
                "findings.two_factors",
                low=shown(fit.factors[0]),
                high=shown(fit.factors[1]),
                switch=shown(fit.switch),
            )
            measured = Measured.of(fit.switch)
            refuted = text("findings.two_refuted", switch=f"{fit.switch.value:.2g}")
            what = text("findings.two_next", switch=f"{fit.switch.value:.2g}")
        else:
            statement = text(
                "findings.one_factor",
                factor=shown(fit.factors[0]),
                low=f"{low:.2g}",
                high=f"{high:.2g}",
            )
            measured = Measured.of(fit.factors[0])
            refuted = text("findings.one_refuted")
            what = text("findings.one_next", high=f"{2 * high:.2g}")
        found.append(
            Finding(
                instrument=name,
                subject=text("findings.subject_factors"),
                statement=statement,
                runs=runs,
                strength=in_words(lead / LN10),
                log10_bayes_factor=lead / LN10,
                measured=measured,
                rivals=rivals,
                refuted_by=refuted,
                next_measurement=NextMeasurement(
                    what=what, minutes=minutes, separates=text("findings.one_from_two")
                ),
                missing=fit.missing,
            )
        )
    if fit.time_constant is not None:
        found.append(
            Finding(
                instrument=name,
                subject=text("findings.subject_estimator"),
                statement=text("findings.estimator", kind=fit.kind, width=shown(fit.time_constant)),
                runs=runs,
                strength=in_words(fit.kind_log_lead / LN10),
                log10_bayes_factor=fit.kind_log_lead / LN10,
                measured=Measured.of(fit.time_constant),
                rivals=(
                    Rival(
                        statement=text("findings.other_kind", kind=fit.kind_rival),
                        log10_bayes_factor=-fit.kind_log_lead / LN10,
                        set_aside_because=text("findings.explains_less"),
                    ),
                ),
                refuted_by=text("findings.estimator_refuted"),
            )
        )
    return found


def _hypothesis(factors: int, structure: object) -> str:
    extras = ("hysteresis", "dead_time", "background", "down")
    names = [text(f"findings.with_{x}") for x in extras if getattr(structure, x)]
    base = text("findings.hypothesis_two" if factors == 2 else "findings.hypothesis_one")
    return ", ".join([base, *names])


def _settled_minutes(fit: ReadoutFit) -> float:
    """Return how long one more level takes: ten memories of the display, at least five minutes."""
    memory = fit.time_constant.value if fit.time_constant is not None else 60.0
    return float(max(5.0, 10.0 * memory / 60.0))


def register_findings(name: str, own: Sequence[Evidence], fit: ReadoutFit | None) -> list[Finding]:
    """Return whether momentary readings, average and accumulated dose agree, run by run pooled."""
    by_kind: dict[str, list[tuple[str, Check]]] = {}
    for e in own:
        for check in checks_of(e, fit):
            if np.isfinite(check.ratio.value):
                by_kind.setdefault(check.name, []).append((e.run.id, check))
    found = []
    for kind, checks in by_kind.items():
        w = np.array([1.0 / c.ratio.u**2 for _, c in checks])
        mean = float(np.average([c.ratio.value for _, c in checks], weights=w))
        u = float(1.0 / np.sqrt(w.sum()))
        off = abs(mean - 1.0) / u
        factor = from_interval(off, 10.0)
        differs = off > 3.3 and abs(mean - 1.0) > 0.02
        worst = max(checks, key=lambda c: abs(c[1].ratio.value - 1.0) / c[1].ratio.u)[1].ratio
        key = f"findings.{kind}_{'differs' if differs else 'agrees'}"
        found.append(
            Finding(
                instrument=name,
                subject=text(f"findings.subject_{kind}"),
                statement=text(key, ratio=f"{mean:.3f}", u=f"{1.96 * u:.3f}"),
                runs=tuple(r for r, _ in checks),
                strength=in_words(factor if differs else max(-factor, 0.0)),
                log10_bayes_factor=factor if differs else -factor,
                measured=Measured.of(worst)
                if len(checks) == 1
                else Measured(value=mean, u=u, low=mean - 1.96 * u, high=mean + 1.96 * u),
                rivals=(Rival(statement=text("findings.register_rival")),) if differs else (),
                refuted_by=text("findings.register_refuted"),
            )
        )
    return found


def checks_of(e: Evidence, fit: ReadoutFit | None) -> list[Check]:
    """Return the consistency checks that a run's reading logs allow."""
    logs = {log.field: log for log in reversed(e.readings) if log.quantity in ("dose_rate", "dose")}
    momentary = logs.get("momentary")
    if momentary is None or momentary.times_s.size < 10:
        return []
    times = momentary.times_s
    values = momentary.values * convert(1.0, momentary.unit, "µSv/h")
    window = fit.time_constant.value if fit and fit.time_constant else e.counter.window_s or 60.0
    factor = fit.factors[0].value if fit and fit.factors else 60.0
    quantum = fit.quantum.value if fit and fit.quantum else momentary.quantum or 0.0
    found = []
    dose = logs.get("accumulated")
    if dose is not None and dose.times_s.size >= 2:
        scale = convert(1.0, dose.unit, "µSv")
        start, end = _at(dose, times[0]), _at(dose, times[-1])
        # most of the step may hide in the last digit of a slow register
        step = dose.quantum or _smallest_move(dose)
        if (end - start) > 8.0 * step:
            found.append(
                dose_check(
                    times,
                    values,
                    start * scale,
                    end * scale,
                    quantum=quantum,
                    dose_quantum_usv=step * scale,
                    window_s=window,
                    factor_cpm_per_usv_h=factor,
                )
            )
    return found + _average_checks(logs.get("average"), times, values, quantum, window, factor)


def _average_checks(
    log: ReadingLog | None,
    times: np.ndarray,
    values: np.ndarray,
    quantum: float,
    window: float,
    factor: float,
) -> list[Check]:
    """Compare the average over a run in which it was reset at the start.

    When the reset lies at an unknown time the average says nothing about this run alone.
    """
    if log is None or log.times_s.size < 2:
        return []
    first = int(np.argmax(log.times_s >= times[0]))
    scale = convert(1.0, log.unit, "µSv/h")
    moved = float(np.abs(np.diff(log.values[:20])).max(initial=0.0))
    if log.times_s[first] > 60.0 or moved * scale <= 2.0 * quantum:
        return []
    start, end = _at(log, times[0]) * scale, _at(log, times[-1]) * scale
    return [
        average_check(
            times,
            values,
            start,
            end,
            float(times[0]),
            quantum=quantum,
            window_s=window,
            factor_cpm_per_usv_h=factor,
        )
    ]


def _at(log: ReadingLog, time_s: float) -> float:
    return float(log.values[max(int(np.searchsorted(log.times_s, time_s, side="right")) - 1, 0)])


def _smallest_move(log: ReadingLog) -> float:
    moves = np.diff(np.unique(log.values))
    return float(moves.min()) if moves.size else 0.0


def disturbance_findings(name: str, own: Sequence[Evidence]) -> list[Finding]:
    """Return the disturbances that were found, or one finding that none was."""
    tested: list[tuple[str, Disturbance]] = []
    for e in own:
        if e.pulses is not None:
            tested += [(e.run.id, d) for d in disturbances(e.pulses)]
    if not tested:
        return []
    runs = len({r for r, _ in tested})
    found = []
    for kind in dict.fromkeys(d.kind for _, d in tested):
        hits = [(r, d) for r, d in tested if d.kind == kind and d.p_value * runs < 0.001]
        if not hits:
            continue
        run, worst = min(hits, key=lambda h: h[1].p_value)
        factor = bound_from_p(min(1.0, worst.p_value * runs))
        key = kind.replace(" ", "_")
        found.append(
            Finding(
                instrument=name,
                subject=kind,
                statement=text(
                    f"findings.{key}", size=f"{worst.size:.3g}", n=len(hits), of=runs, run=run
                ),
                runs=tuple(r for r, _ in hits),
                strength=in_words(factor),
                log10_bayes_factor=factor,
                rivals=(Rival(statement=text(f"findings.{key}_rival")),),
                refuted_by=text("findings.disturbance_refuted"),
                next_measurement=NextMeasurement(
                    what=text("findings.disturbance_next"),
                    minutes=10.0,
                    separates=text("findings.disturbance_separates"),
                ),
            )
        )
    if not found:
        seen = {
            kind: float(np.median([d.seen for _, d in tested if d.kind == kind]))
            for kind in dict.fromkeys(d.kind for _, d in tested)
        }
        found.append(
            Finding(
                instrument=name,
                subject=text("findings.subject_disturbance"),
                statement=text(
                    "findings.undisturbed",
                    runs=runs,
                    double=f"{100 * seen['double pulses']:.1f}",
                    mains=f"{100 * seen['mains pickup']:.0f}",
                    over=f"{seen['unsteady']:.2f}",
                    under=f"{seen['too regular']:.2f}",
                ),
                runs=tuple(dict.fromkeys(r for r, _ in tested)),
                strength=text("findings.none_found"),
                refuted_by=text("findings.undisturbed_refuted"),
            )
        )
    return found
