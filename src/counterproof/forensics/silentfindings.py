"""A box that does not click: what its numbers alone say on a ladder of known dose rates.

Without clicks no factor can be had in counts per µSv/h, but a change of factor can, and its place:
the display over the true dose rate is one constant as long as one factor holds. The truth is a
reference's measurement or what physics expects of the source; a common error of scale drops out.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from counterproof.forensics.answer import UNDETERMINED, ReadoutFit, quantum_of
from counterproof.forensics.clocks import tidy
from counterproof.forensics.ladder import NEEDED, LadderFit, fit_ladder
from counterproof.forensics.lattice import find_step
from counterproof.forensics.paired import PairedRun
from counterproof.forensics.places import open_background, relative_dose
from counterproof.forensics.registerfindings import factor_step, stretches
from counterproof.forensics.statements import shown
from counterproof.forensics.strength import LN10, in_words
from counterproof.quantities import Estimate
from counterproof.quantities.units import convert
from counterproof.records import Finding, Measured, NextMeasurement, Rival
from counterproof.texts import text
from counterproof.trials import levels as lv
from counterproof.trials.rungs import ladders
from counterproof.trials.shape import Counter, Evidence
from counterproof.trials.shared import normal

PLACE_U = 0.03
"""Relative standard uncertainty of a level from setting up twice (common practice, no source)."""
PASSES = 3
LEAST_STEP = 0.1
"""Logarithm of the smallest change of factor that positions and linearity cannot imitate."""


@dataclass(frozen=True)
class Levels:
    """Displayed dose rates beside true ones, background included in both.

    Args:
        source: the one source that stood at all distances.
        displayed: mean displayed dose rates, µSv/h, rising distance first.
        truth: true net dose rates there.
        background: displayed dose rate without the source.
        runs: ids.
    """

    source: str
    displayed: tuple[Estimate, ...]
    truth: tuple[Estimate, ...]
    background: Estimate | None
    runs: tuple[str, ...]


def levels_of(counter: Counter, evidence: Sequence[Evidence]) -> Levels | None:
    """Return the longest ladder of one source that has a display and a true dose rate per level."""
    by_source = ladders([e for e in evidence if e.counter.name == counter.name])
    found = [
        ladder
        for source, places in by_source.items()
        if (ladder := _ladder(source, places, counter, evidence)) is not None
    ]
    return max(found, key=lambda x: len(x.displayed), default=None)


def _ladder(
    source: str,
    places: dict[float, list[Evidence]],
    counter: Counter,
    evidence: Sequence[Evidence],
) -> Levels | None:
    displayed, truth, runs = [], [], []
    for at in sorted(places, reverse=True):
        group = places[at]
        level = lv.pool(group, lv.displayed_dose_rate)
        known = relative_dose(((source,), at), counter, evidence, group)
        if level is None or known is None or min(level.estimate.value, known.value) <= 0.0:
            continue
        displayed.append(level.estimate)
        truth.append(normal(known.value, known.value * math.hypot(known.relative_u, PLACE_U)))
        runs += [e.run.id for e in group]
    if len(displayed) < NEEDED:
        return None
    own = [e for e in evidence if e.counter.name == counter.name and open_background(e)]
    background = lv.pool(own, lv.displayed_dose_rate)
    base = None if background is None else background.estimate
    return Levels(source, tuple(displayed), tuple(truth), base, tuple(runs))


def fit_levels(levels: Levels) -> LadderFit | None:
    """Look for a change of factor over the levels.

    The display of a level is k (background + source) as long as the lowest factor holds, and the
    displayed background is k times the background: k is found in a few passes.
    """
    base = levels.background
    first = levels.displayed[0]
    k = (first.value - (base.value if base else 0.0)) / levels.truth[0].value
    found = None
    for _ in range(PASSES):
        if k <= 0.0:
            return None
        scaled = [t.scaled(k, lv.DOSE_RATE) for t in levels.truth]
        if base is not None:
            scaled = [normal(s.value + base.value, math.hypot(s.u, base.u)) for s in scaled]
        found = fit_ladder(levels.displayed, scaled)
        if found is None:
            return None
        k *= found.response.value
    return found


def ladder_findings(
    counter: Counter, evidence: Sequence[Evidence], known: ReadoutFit | None
) -> list[Finding]:
    """Return whether the display keeps one factor over a ladder, from its numbers alone.

    Where clicks have shown two factors a ladder too weak to show them is no finding.

    Args:
        counter: the counter under test.
        evidence: its own runs and those of references.
        known: the firmware that clicks have told, if they have.
    """
    levels = levels_of(counter, evidence)
    fit = None if levels is None else fit_levels(levels)
    if levels is None or fit is None:
        return []
    seen = [d.value for d in levels.displayed]
    ends = {"low": f"{min(seen):.2g}", "high": f"{max(seen):.2g}", "seen": f"{100 * fit.seen:.0f}"}
    stepped = is_step(fit)
    if not stepped and known is not None and len(known.factors) > 1:
        return []
    if stepped and fit.step is not None and fit.switch_usv_h is not None:
        a, b = (f"{v:.2g}" for v in fit.switch_usv_h)
        statement = text("findings.ladder_step", step=shown(fit.step), low=a, high=b)
        measured, next_what = fit.step, text("findings.ladder_next", low=a, high=b)
    else:
        statement = text("findings.ladder_flat", **ends)
        measured, next_what = fit.response, text("findings.ladder_next_flat")
    factor = fit.log_lead / LN10 if stepped else None
    return [
        Finding(
            instrument=counter.name,
            subject=text("findings.subject_ladder"),
            statement=statement,
            runs=levels.runs,
            strength=in_words(factor),
            log10_bayes_factor=factor,
            measured=Measured.of(measured),
            rivals=(
                Rival(
                    statement=text(f"findings.ladder_rival_{'one' if stepped else 'two'}"),
                    log10_bayes_factor=None if factor is None else -factor,
                    set_aside_because=text("findings.explains_less") if stepped else "",
                ),
                Rival(statement=text("findings.ladder_rival_position")),
                Rival(statement=text("findings.ladder_rival_losses")),
            ),
            refuted_by=text("findings.ladder_refuted"),
            next_measurement=NextMeasurement(
                what=next_what, minutes=20.0, separates=text("findings.one_from_two")
            ),
            missing=() if levels.background else (text("findings.ladder_no_background"),),
        )
    ]


def is_step(fit: LadderFit) -> bool:
    """Whether a change of factor was found that positions cannot imitate."""
    return fit.step is not None and abs(math.log(fit.step.value)) > LEAST_STEP


def silent_answer(counter: Counter, evidence: Sequence[Evidence]) -> ReadoutFit:
    """Return what readings alone tell of a firmware: step, refresh, a change of factor.

    Args:
        counter: the counter under test.
        evidence: its own runs, none of which has clicks beside its display, and the references'.
    """
    own = [e for e in evidence if e.counter.name == counter.name]
    logs = [
        x for e in own for x in e.readings if x.field == "momentary" and x.quantity == "dose_rate"
    ]
    values = np.concatenate(
        [np.empty(0), *(x.values * convert(1.0, x.unit, lv.DOSE_RATE) for x in logs)]
    )
    lattice = find_step(values)
    refreshes = [
        found
        for x in logs
        if x.times_s.size
        and (found := tidy(PairedRun(np.empty(0), float(x.times_s[-1]), x.times_s, x.values))[1])
    ]
    said, missing = [], [text("forensics.no_pairs", instrument=counter.name)]
    switch, ratio = None, None
    levels = levels_of(counter, evidence)
    fits = [("ladder", None if levels is None else fit_levels(levels))]
    for kind in ("average", "dose"):
        parted = [p for e in own for p in stretches(e, None) if p.check.name == kind]
        fits.append((f"register_{kind}", factor_step(parted)))
    for name, fit in fits:
        if fit is None:
            continue
        if is_step(fit) and fit.step is not None and fit.switch_usv_h is not None:
            low, high = fit.switch_usv_h
            words = {"step": shown(fit.step), "low": f"{low:.2g}", "high": f"{high:.2g}"}
            said.append(text(f"forensics.silent_{name}", **words))
            if ratio is None or fit.step.relative_u < ratio.relative_u:
                # the factor rises as the display falls
                ratio = _inverse(fit.step)
                middle = math.sqrt(low * high)
                u = (high - low) / math.sqrt(12.0)
                switch = Estimate(middle, u, low, high, 0.95, lv.DOSE_RATE, None, "two levels")
        else:
            said.append(text(f"forensics.silent_{name}_flat"))
    if levels is None:
        missing.append(text("forensics.silent_no_ladder", needed=NEEDED))
    ends = (float(values.min()), float(values.max())) if values.size else (0.0, 0.0)
    return ReadoutFit(
        kind=UNDETERMINED,
        switch=switch,
        factor_ratio=ratio,
        quantum=quantum_of(lattice),
        refresh=refreshes[0] if refreshes else None,
        readings=int(values.size),
        seen_usv_h=ends,
        statements=tuple(said),
        missing=tuple(missing),
    )


def _inverse(e: Estimate) -> Estimate:
    value = 1.0 / e.value
    return Estimate(value, value * e.relative_u, 1.0 / e.high, 1.0 / e.low, e.coverage, "")
