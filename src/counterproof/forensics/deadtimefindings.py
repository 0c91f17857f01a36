"""Dead time and fold-back as findings."""

from __future__ import annotations

import math
from collections.abc import Sequence

from counterproof.forensics.deadtimes import DeadTimes, dead_times
from counterproof.forensics.silentfindings import Levels, levels_of
from counterproof.forensics.statements import shown
from counterproof.forensics.strength import bound_from_p, from_interval, in_words
from counterproof.quantities import Estimate
from counterproof.records import Finding, Measured, NextMeasurement, Rival
from counterproof.texts import text
from counterproof.trials import levels as lv
from counterproof.trials import overload
from counterproof.trials.criteria import DEFAULT_PROFILE, profile
from counterproof.trials.shape import Counter, Evidence

FOLDS_U = 4.0
"""Standard uncertainties by which a display must fall while the dose rate rises."""
FOLDS = 0.1
"""Share by which it must fall to be worth a finding."""
MINUTES = 30.0
TELLING_US = 1000.0
"""Upper limit of a dead time above which an unresolved one is not worth a word."""


def dead_time_findings(counter: Counter, evidence: Sequence[Evidence]) -> list[Finding]:
    """Return the dead time by every method that the runs allow, with their agreement.

    Args:
        counter: the counter under test.
        evidence: its own runs and those of references.
    """
    found = dead_times(counter, evidence)
    in_us = {
        k: e.scaled(1e6, "µs")
        for k, e in found.each.items()
        if e.low > 0.0 or 1e6 * e.high < TELLING_US
    }
    if not in_us:
        return []
    resolved = {k: e for k, e in in_us.items() if e.low > 0.0}
    unresolved = {k: e for k, e in in_us.items() if k not in resolved}
    best = min(in_us.values(), key=lambda e: e.u)
    said = []
    if resolved:
        said.append(text("findings.dead_each", each=_list(resolved)))
    if unresolved:
        each = "; ".join(f"{_method(k)} < {e.high:.0f} µs" for k, e in unresolved.items())
        said.append(text("findings.dead_unresolved", each=each))
    factor = from_interval(best.value / best.u, 10.0) if resolved else None
    if found.together is not None and resolved and len(in_us) > 1:
        best = found.together.common.scaled(1e6, "µs")
        agree = found.together.agree
        factor = from_interval(best.value / best.u, 10.0)
        if not agree:
            factor = bound_from_p(found.together.p_value)
        outlying = ", ".join(_method(k) for k in found.together.outlying)
        words = {"common": shown(best), "chi2": f"{found.together.chi2:.1f}"}
        said.append(
            text(
                f"findings.dead_{'agree' if agree else 'disagree'}",
                dof=found.together.dof,
                outlying=outlying or text("findings.dead_no_outlier"),
                **words,
            )
        )
    said += _hybrid(found)
    return [
        Finding(
            instrument=counter.name,
            subject=text("findings.subject_dead"),
            statement=" ".join(said),
            runs=tuple(dict.fromkeys(r for ids in found.runs.values() for r in ids)),
            strength=in_words(factor),
            log10_bayes_factor=factor,
            measured=Measured.of(best),
            rivals=(
                Rival(statement=text("findings.dead_rival_moved")),
                Rival(statement=text("findings.dead_rival_recorder")),
            ),
            refuted_by=text("findings.dead_refuted"),
            next_measurement=NextMeasurement(
                what=text(f"findings.dead_next_{'two' if 'two sources' in in_us else 'line'}"),
                minutes=MINUTES,
                separates=text("findings.dead_separates"),
            ),
            missing=tuple(text("findings.dead_failed", method=_method(k)) for k in found.failed),
        )
    ]


def _method(key: str) -> str:
    return text(f"findings.method_{key.replace(' ', '_').replace('-', '_')}")


def _list(each: dict[str, Estimate]) -> str:
    return "; ".join(f"{_method(k)} {shown(e)}" for k, e in each.items())


def _hybrid(found: DeadTimes) -> list[str]:
    """Say what the hybrid model adds, where the dead time was resolved at all."""
    hybrid = found.hybrid
    if hybrid is None or not any(e.low > 0.0 for e in found.each.values()):
        return []
    low, high = (f"{100 * s:.0f}" for s in hybrid.shares)
    if hybrid.shares[1] - hybrid.shares[0] > 0.9:
        return [text("findings.hybrid_open")]
    words = {"n": f"{1e6 * hybrid.tau_n_s:.0f}", "p": f"{1e6 * hybrid.tau_p_s:.0f}"}
    return [text("findings.hybrid", low=low, high=high, lead=f"{hybrid.lead:.1f}", **words)]


def fold_findings(counter: Counter, evidence: Sequence[Evidence]) -> list[Finding]:
    """Return whether the display falls while the rate rises: on injected pulses, or on a ladder."""
    found = []
    if overload.TRIAL.serves(counter, evidence):
        found += _injected(counter, evidence)
    ladder = levels_of(counter, evidence)
    if ladder is not None:
        found += _folded_ladder(counter, ladder)
    return found


def _injected(counter: Counter, evidence: Sequence[Evidence]) -> list[Finding]:
    """Fold-back in the overload trial, or up to where there was none."""
    outcome = overload.TRIAL.analyse(counter, evidence, profile(DEFAULT_PROFILE))
    if not outcome.runs:
        return []
    shown_at = [
        v.estimate() for row in outcome.table if isinstance(v := row.values.get("shown"), Measured)
    ]
    fall = _fall(shown_at)
    return [_fold(counter.name, outcome.statement, outcome.runs, fall, "injected")]


def _folded_ladder(counter: Counter, ladder: Levels) -> list[Finding]:
    """Fold-back on a ladder of sources, where it shows by itself; nothing where it does not.

    A display that changes its factor falls once as well: only a fall beyond the largest ratio of
    two factors that is sold counts here, and a rise of the true rate throughout.
    """
    order = sorted(range(len(ladder.truth)), key=lambda i: ladder.truth[i].value)
    fall = _fall([ladder.displayed[i] for i in order])
    if fall is None or fall[0].value < 3.0 * fall[1].value:
        return []
    words = {"most": shown(fall[0], lv.DOSE_RATE), "less": shown(fall[1], lv.DOSE_RATE)}
    statement = text("findings.fold_ladder", **words)
    return [_fold(counter.name, statement, ladder.runs, fall, "ladder")]


def _fall(levels: Sequence[Estimate]) -> tuple[Estimate, Estimate] | None:
    """Return the highest level and the lowest after it, if it fell beyond doubt."""
    if len(levels) < 2:
        return None
    top = max(range(len(levels)), key=lambda i: levels[i].value)
    after = levels[top + 1 :]
    if not after:
        return None
    first, last = levels[top], min(after, key=lambda e: e.value)
    u = math.hypot(first.u, last.u)
    apart = first.value - last.value
    return (first, last) if apart > FOLDS_U * u and apart > FOLDS * first.value else None


def _fold(
    name: str,
    statement: str,
    runs: tuple[str, ...],
    fall: tuple[Estimate, Estimate] | None,
    how: str,
) -> Finding:
    factor, measured = None, None
    if fall is not None:
        first, last = fall
        apart = (first.value - last.value) / math.hypot(first.u, last.u)
        factor = from_interval(apart, 10.0)
        measured = Measured.of(lv.over(last, first))
    key = "fold" if fall else "no_fold"
    return Finding(
        instrument=name,
        subject=text("findings.subject_fold"),
        statement=statement,
        runs=runs,
        strength=in_words(factor),
        log10_bayes_factor=factor,
        measured=measured,
        rivals=(Rival(statement=text(f"findings.{key}_rival_{how}")),),
        refuted_by=text(f"findings.{key}_refuted"),
        next_measurement=NextMeasurement(
            what=text("findings.fold_next"),
            minutes=10.0,
            separates=text("findings.fold_separates"),
        ),
    )
