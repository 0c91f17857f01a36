"""What a firmware inference says, as findings: number of factors, kind of estimator."""

from __future__ import annotations

from counterproof.forensics.answer import Hypothesis, ReadoutFit
from counterproof.forensics.statements import shown
from counterproof.forensics.strength import LN10, SUBSTANTIAL, in_words
from counterproof.records import Finding, Measured, NextMeasurement, Rival
from counterproof.texts import text


def readout_findings(name: str, fit: ReadoutFit, runs: tuple[str, ...]) -> list[Finding]:
    """Return what a firmware inference says; nothing where no factor could be told.

    Args:
        name: the instrument.
        fit: its firmware.
        runs: ids of the runs behind it.
    """
    if not fit.factors:
        return []
    found = []
    ones = [h for h in fit.hypotheses if h.structure.factors == 1]
    twos = [h for h in fit.hypotheses if h.structure.factors == 2]
    if ones and twos:
        found.append(_factors(name, fit, runs, ones, twos))
    if fit.time_constant is not None or fit.window_pulses is not None:
        found.append(_estimator(name, fit, runs))
    return found


def _factors(
    name: str,
    fit: ReadoutFit,
    runs: tuple[str, ...],
    ones: list[Hypothesis],
    twos: list[Hypothesis],
) -> Finding:
    two = len(fit.factors) == 2
    best = max(twos if two else ones, key=lambda h: h.score)
    others = ones if two else twos
    lead = best.score - max(h.score for h in others)
    rivals = tuple(
        Rival(
            statement=_hypothesis(h),
            log10_bayes_factor=(h.score - best.score) / LN10,
            set_aside_because=_why(h.score - best.score),
        )
        for h in sorted(fit.hypotheses, key=lambda h: -h.score)
        if h is not best
    )
    low, high = fit.seen_usv_h
    if two and fit.switch is not None:
        lower, upper = (shown(f) for f in fit.factors)
        words = {"low": lower, "high": upper, "switch": shown(fit.switch)}
        statement = text("findings.two_factors", **words)
        measured = Measured.of(fit.switch)
        at = f"{fit.switch.value:.2g}"
        refuted = text("findings.two_refuted", switch=at)
        what = text("findings.two_next", switch=at)
        minutes = 2.0 * _settled_minutes(fit)
    else:
        ends = {"low": f"{low:.2g}", "high": f"{high:.2g}"}
        statement = text("findings.one_factor", factor=shown(fit.factors[0]), **ends)
        measured = Measured.of(fit.factors[0])
        refuted = text("findings.one_refuted")
        what = text("findings.one_next", high=f"{2 * high:.2g}")
        minutes = _settled_minutes(fit)
    return Finding(
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


def _estimator(name: str, fit: ReadoutFit, runs: tuple[str, ...]) -> Finding:
    width = text("forensics.pulses", n=fit.window_pulses)
    if fit.time_constant is not None:
        width = shown(fit.time_constant)
    lead = fit.kind_log_lead / LN10  # infinite when no other kind could be fitted at all
    rival = Rival(
        statement=text("findings.other_kind", kind=fit.kind_rival),
        log10_bayes_factor=-lead,
        set_aside_because=_why(-fit.kind_log_lead),
    )
    return Finding(
        instrument=name,
        subject=text("findings.subject_estimator"),
        statement=text("findings.estimator", kind=fit.kind, width=width),
        runs=runs,
        strength=in_words(lead),
        log10_bayes_factor=lead,
        measured=None if fit.time_constant is None else Measured.of(fit.time_constant),
        rivals=(rival,) if fit.kind_rival else (),
        refuted_by=text("findings.estimator_refuted"),
        next_measurement=NextMeasurement(
            what=text("findings.estimator_next"),
            minutes=_settled_minutes(fit),
            separates=text("findings.estimator_separates"),
        ),
    )


def _why(log_likelihood_ratio: float) -> str:
    """Say why a rival is set aside; nothing where the readings hardly prefer either."""
    return text("findings.explains_less") if log_likelihood_ratio < -SUBSTANTIAL * LN10 else ""


def _hypothesis(weighed: Hypothesis) -> str:
    extras = ("hysteresis", "dead_time", "background", "down")
    names = [text(f"findings.with_{x}") for x in extras if getattr(weighed.structure, x)]
    two = weighed.structure.factors == 2
    base = text(f"findings.hypothesis_{'two' if two else 'one'}")
    return ", ".join([base, *names]) + "."


def _settled_minutes(fit: ReadoutFit) -> float:
    """Return how long one more level takes: ten memories of the display, at least five minutes."""
    memory = fit.time_constant.value if fit.time_constant is not None else 60.0
    return float(max(5.0, 10.0 * memory / 60.0))
