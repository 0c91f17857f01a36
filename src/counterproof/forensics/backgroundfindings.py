"""Counts that a counter makes by itself: from a shield, or from what radiation does not explain.

In a shield the counts that are left are its own, those that pass the shield and the cosmic ones:
an upper limit. Without a shield, the background that a reference measures times the sensitivity to
caesium is what radiation explains; what is left over is the counter's own, or a response to
background that differs from that to caesium. Only a shield tells these two apart.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from counterproof.counting.planning import time_to_tell_apart
from counterproof.errors import UserError
from counterproof.forensics.answer import ReadoutFit
from counterproof.forensics.places import at, open_background, place_of
from counterproof.forensics.responsefindings import PIVOT
from counterproof.forensics.statements import shown
from counterproof.forensics.strength import SUBSTANTIAL, from_interval, in_words
from counterproof.quantities import Estimate
from counterproof.records import Finding, Measured, NextMeasurement, Rival
from counterproof.texts import text
from counterproof.trials import levels as lv
from counterproof.trials.shape import Counter, Evidence
from counterproof.trials.shared import normal
from counterproof.trials.wall import Absorber, sheet_of

UNLIKE = 0.10
"""Relative standard uncertainty by which a tube's response to background may differ from that to
caesium (common practice, no source)."""
HARD_KEV = 1250.0
"""Photon energy for which a shield is judged: background's hard end."""
COSMIC = 0.4
"""Most of a counter's open rate that cosmic rays may make, which no shield holds back (about a
quarter at sea level, more on mountains; this project's own allowance)."""


@dataclass(frozen=True)
class Own:
    """Counts per second of the counter's own, and the runs behind them."""

    rate: Estimate
    open_rate: Estimate
    runs: tuple[str, ...]


def background_findings(
    counter: Counter, evidence: Sequence[Evidence], fit: ReadoutFit | None
) -> list[Finding]:
    """Return what a counter counts without any field, as far as its runs tell.

    Args:
        counter: the counter under test.
        evidence: its own runs and those of references: background in the open, background in a
            shield (absorbers and no source), caesium at one place before both.
        fit: its firmware: the factor turns a register read overnight into counts.
    """
    found = []
    shielded = _shielded(counter, evidence)
    if shielded is not None:
        found.append(_in_shield(counter.name, shielded))
    left = unexplained(counter, evidence, fit)
    if left is not None:
        found.append(_left_over(counter.name, left))
    return found


def own_rate(e: Evidence, fit: ReadoutFit | None) -> lv.Level | None:
    """Count rate of a run; for a silent one the displayed dose rate times the inferred factor."""
    counted = lv.count_rate(e)
    if counted is not None or fit is None or not fit.factors:
        return counted
    display = lv.displayed_dose_rate(e)
    if display is None or (fit.switch is not None and display.estimate.high > fit.switch.low):
        return None
    factor = fit.factors[0]
    per_s = factor.scaled(1.0 / 60.0, "1/s")
    d = display.estimate
    value = d.value * per_s.value
    u = value * math.hypot(d.relative_u, per_s.relative_u)
    return lv.Level(
        normal(value, u, "1/s", d.counts), display.seconds, display.how, value * per_s.relative_u
    )


def unexplained(
    counter: Counter, evidence: Sequence[Evidence], fit: ReadoutFit | None
) -> Own | None:
    """Return the background rate less what a reference's background explains, per second."""
    mine = [e for e in evidence if e.counter.name == counter.name]
    background = [e for e in mine if open_background(e)]
    rates = [
        (e, r) for e in background if (r := own_rate(e, fit)) is not None and r.estimate.value > 0.0
    ]
    if not rates:
        return None
    # the longest run: pooling registers with clicks would mix their uncertainties
    run, rate = max(rates, key=lambda p: p[1].seconds)
    for name, theirs in lv.by_counter([e for e in evidence if e.counter.is_reference]):
        if name == counter.name:
            continue
        dose = lv.pool([e for e in theirs if open_background(e)], lv.reference_dose_rate)
        sensitivity = _sensitivity(mine, theirs)
        if dose is None or sensitivity is None or dose.estimate.value <= 0.0:
            continue
        known, ids = sensitivity
        explained = known.value * dose.estimate.value
        # the reference's calibration is in both and cancels: caesium and background share it
        counted = math.sqrt(max(dose.estimate.u**2 - dose.fixed_u**2, 0.0)) / dose.estimate.value
        u = math.hypot(explained * math.hypot(counted, known.relative_u, UNLIKE), rate.estimate.u)
        value = rate.estimate.value - explained
        own = normal(value, u, "1/s")
        runs = (run.run.id, *ids, *(e.run.id for e in theirs if open_background(e)))
        return Own(own, rate.estimate, tuple(dict.fromkeys(runs)))
    return None


def _sensitivity(
    mine: Sequence[Evidence], theirs: Sequence[Evidence]
) -> tuple[Estimate, tuple[str, ...]] | None:
    """Counts per second per µSv/h for caesium by a reference, its calibration left out of u."""
    best: tuple[Estimate, tuple[str, ...]] | None = None
    own_places = {
        place_of(e)
        for e in mine
        if e.run.with_source and e.run.position.is_open and PIVOT in e.nuclides[:1]
    }
    for place in own_places:
        own, other = at(place, mine), at(place, theirs)
        if not other:
            continue
        top = lv.net(own, [e for e in mine if open_background(e)], lv.count_rate)
        dose = lv.net_by_calibration(other, [e for e in theirs if open_background(e)])
        if top is None or dose is None or min(top.estimate.value, dose.estimate.value) <= 0.0:
            continue
        ratio = lv.over(top.estimate, dose.estimate)
        relative = math.sqrt(
            max(ratio.relative_u**2 - (dose.fixed_u / dose.estimate.value) ** 2, 0.0)
        )
        found = normal(ratio.value, ratio.value * relative)
        ids = tuple(e.run.id for e in (*own, *other))
        if best is None or found.relative_u < best[0].relative_u:
            best = (found, ids)
    return best


def _left_over(name: str, own: Own) -> Finding:
    off = own.rate.value / own.rate.u
    found = from_interval(abs(off), max(own.open_rate.value / own.rate.u, 2.0))
    factor = found if off > 0 and found >= SUBSTANTIAL else None
    cpm = own.rate.scaled(60.0, "min⁻¹")
    share = own.rate.value / own.open_rate.value
    words = {"rate": shown(cpm), "share": f"{100 * share:.0f}", "limit": f"{cpm.high:.2g}"}
    return Finding(
        instrument=name,
        subject=text("findings.subject_own"),
        statement=text(f"findings.own_{'none' if factor is None else 'counts'}", **words),
        runs=own.runs,
        strength=in_words(factor),
        log10_bayes_factor=factor,
        measured=Measured.of(cpm),
        rivals=(
            Rival(statement=text("findings.own_rival_response", percent=f"{100 * UNLIKE:.0f}")),
            Rival(statement=text("findings.own_rival_place")),
        ),
        refuted_by=text("findings.own_refuted"),
        next_measurement=NextMeasurement(
            what=text("findings.own_next"),
            minutes=_shield_minutes(own),
            separates=text("findings.own_separates"),
        ),
    )


def _shield_minutes(own: Own) -> float:
    """Minutes in a shield that tell the open rate's excess from none (at most a day)."""
    rate, excess = own.open_rate.value, max(abs(own.rate.value), 0.1 * own.open_rate.value)
    rest = max(0.2 * (rate - excess), 0.01 * rate)  # what a shield leaves, cosmic rays mostly
    try:
        seconds = time_to_tell_apart(rest + excess, rest, alpha=0.001)
    except UserError:
        return 60.0
    return float(np.clip(seconds / 60.0, 15.0, 24 * 60.0))


def passed_share(absorbers: Sequence[Absorber]) -> float:
    """Return the share of the open rate that a shield lets through at most.

    Cosmic rays whole, and photons of 1250 keV as a broad beam: e^(−µx)(1 + µx), the linear form of
    build-up (from memory).
    """
    from counterproof.physics.attenuation import total

    depth = sum(
        float(total(s.material, HARD_KEV)) * s.areal_g_cm2 for s in map(sheet_of, absorbers)
    )
    return COSMIC + (1.0 - COSMIC) * math.exp(-depth) * (1.0 + depth)


def _shielded(counter: Counter, evidence: Sequence[Evidence]) -> Own | None:
    """Counts of the counter's own from the rates in a shield and in the open.

    Of open = own + field and shield = own + f·field only 0 ≤ f ≤ :func:`passed_share` is known:
    the two ends give the interval.
    """
    mine = [e for e in evidence if e.counter.name == counter.name and e.run.is_background]
    inside = [e for e in mine if e.run.position.absorbers]
    rate = lv.pool(inside, lv.count_rate)
    free = lv.pool([e for e in mine if e.run.position.is_open], lv.count_rate)
    if rate is None or free is None:
        return None
    try:
        passed = min(passed_share(e.run.position.absorbers) for e in inside)
    except UserError:  # a shield of a material that is not known
        return None
    if passed > 0.9:
        return None
    shield, whole = rate.estimate, free.estimate
    least = (shield.value - passed * whole.value) / (1.0 - passed)
    u = math.hypot(shield.u, passed * whole.u) / (1.0 - passed)
    low = max(least - 1.96 * u, 0.0)
    value = 0.5 * (max(least, 0.0) + shield.value)
    spread = (shield.value - max(least, 0.0)) / math.sqrt(12.0)
    own = Estimate(value, math.hypot(spread, u), min(low, value), shield.high, 0.95, "1/s")
    return Own(own, whole, tuple(e.run.id for e in mine if e in inside or e.run.position.is_open))


def _in_shield(name: str, own: Own) -> Finding:
    cpm = own.rate.scaled(60.0, "min⁻¹")
    counts = own.rate.low > 0.0
    factor = from_interval(own.rate.value / own.rate.u, 10.0) if counts else None
    words = {"low": f"{cpm.low:.2g}", "high": f"{cpm.high:.2g}"}
    words["open"] = f"{60.0 * own.open_rate.value:.3g}"
    return Finding(
        instrument=name,
        subject=text("findings.subject_shield"),
        statement=text(f"findings.shield_{'counts' if counts else 'limit'}", **words),
        runs=own.runs,
        strength=in_words(factor),
        log10_bayes_factor=factor,
        measured=Measured.of(cpm),
        rivals=(Rival(statement=text("findings.shield_rival")),),
        refuted_by=text("findings.shield_refuted"),
        next_measurement=NextMeasurement(
            what=text("findings.shield_next"),
            minutes=_shield_minutes(own),
            separates=text("findings.own_separates"),
        ),
    )
