"""For which nuclide, and in which quantity, was the factor evidently set?

A factor is right for the radiation whose sensitivity it equals. For every source whose true dose
rate is known, the sensitivity is measured: counts per minute per µSv/h of H*(10). A maker who set
the factor for air kerma, or for exposure with 1 R taken as 10 mSv, arrives at another number for
the same nuclide: the measured one times what a µSv/h so read means. Each such number is a
hypothesis; the factor decides among them, and against none of them.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

from counterproof.forensics.answer import ReadoutFit
from counterproof.forensics.places import (
    Place,
    open_background,
    place_of,
    referred,
)
from counterproof.forensics.statements import shown
from counterproof.forensics.strength import LN10, SUBSTANTIAL, in_words
from counterproof.quantities import Estimate
from counterproof.records import Finding, Measured, NextMeasurement, Rival
from counterproof.texts import text
from counterproof.trials import levels as lv
from counterproof.trials.shape import Counter, Evidence

PRIOR = math.log(4.0)
"""Without any of the hypotheses a factor lies anywhere within a factor of four of caesium's."""
STOPS_MG_CM2 = 200.0
"""Cover that stops most betas of these nuclides (those of Cs-137's main branch reach 170 mg/cm²,
Katz and Penfold, Rev. Mod. Phys. 24 (1952) 28)."""
SET_U = 0.03
"""Relative standard uncertainty with which a maker sets a factor (common practice, no source)."""
QUANTITIES = ("h10", "kerma", "exposure")
CALIBRATION = ("Cs-137", "Co-60", "Ra-226", "Am-241")
"""Nuclides that factors are set for (common practice, no source)."""


@dataclass(frozen=True)
class Candidate:
    """What the factor would be if it had been set for a nuclide in a quantity.

    Args:
        nuclide: which.
        quantity: ``"h10"``, ``"kerma"`` or ``"exposure"``.
        factor: cpm per displayed µSv/h.
        runs: ids of the runs behind it.
    """

    nuclide: str
    quantity: str
    factor: Estimate
    runs: tuple[str, ...]

    @property
    def words(self) -> str:
        """Name it."""
        return text(f"findings.set_{self.quantity}", nuclide=self.nuclide)


def nuclide_findings(
    counter: Counter, evidence: Sequence[Evidence], fit: ReadoutFit | None
) -> list[Finding]:
    """Return for which nuclide each factor was evidently set, or that none fits.

    Args:
        counter: the counter under test.
        evidence: its own runs near sources of known dose rate, and those of references.
        fit: its firmware; without one the stated factors are looked at.
    """
    factors = fit.factors if fit is not None and fit.factors else _stated(counter)
    known = candidates(counter, evidence)
    if not factors or not known:
        return []
    return [_judged(counter.name, i, factors, f, known) for i, f in enumerate(factors, start=1)]


def _stated(counter: Counter) -> tuple[Estimate, ...]:
    return tuple(
        Estimate(k, 0.0, k, k, 0.95, "cpm/(µSv/h)", None, "as stated")
        for k in counter.stated_cpm_per_usv_h
    )


def candidates(counter: Counter, evidence: Sequence[Evidence]) -> list[Candidate]:
    """Return the factors that nuclides and quantities would have called for."""
    measured = sensitivities(counter, evidence)
    return [
        Candidate(nuclide, quantity, _in_quantity(each, nuclide, quantity), runs)
        for nuclide, (each, runs) in measured.items()
        for quantity in QUANTITIES
    ]


def sensitivities(
    counter: Counter, evidence: Sequence[Evidence]
) -> dict[str, tuple[Estimate, tuple[str, ...]]]:
    """Return measured counts per minute per µSv/h of H*(10) by nuclide, the best of each.

    The dose rate is a reference's that is calibrated for the nuclide, else what physics expects of
    the source. Sources of several nuclides are left out, and those whose cover lets betas through;
    a cover that is not described is taken for one that stops them.
    """
    mine = [e for e in evidence if e.counter.name == counter.name]
    background = [e for e in mine if open_background(e)]
    groups: dict[Place, list[Evidence]] = {}
    for e in mine:
        if e.run.with_source and e.run.position.is_open and e.nuclides[1:] == () and _is_set_for(e):
            groups.setdefault(place_of(e), []).append(e)
    found: dict[str, tuple[Estimate, tuple[str, ...]]] = {}
    for group in groups.values():
        nuclide = group[0].nuclides[0]
        net = lv.net(group, background, lv.count_rate)
        truth = _truth(counter, group, evidence)
        if net is None or truth is None or (group[0].cover_mg_cm2 or math.inf) < STOPS_MG_CM2:
            continue
        if truth[0].low <= 0.0 or net.estimate.low <= 0.0:
            continue
        each = lv.over(net.estimate, truth[0]).scaled(60.0, "cpm/(µSv/h)")
        runs = tuple(e.run.id for e in group) + truth[1]
        if nuclide not in found or each.relative_u < found[nuclide][0].relative_u:
            found[nuclide] = (each, runs)
    return found


def _is_set_for(e: Evidence) -> bool:
    return bool(set(e.nuclides) & set(CALIBRATION))


def _truth(
    counter: Counter, group: Sequence[Evidence], evidence: Sequence[Evidence]
) -> tuple[Estimate, tuple[str, ...]] | None:
    """Net dose rate by a reference calibrated for the nuclide, else by physics."""
    found = referred(place_of(group[0]), counter, evidence, calibrated=True)
    if found is not None:
        return found[0].estimate, found[1]
    expected = lv.expected_dose_rate(group)
    return None if expected is None else (expected, ())


def _in_quantity(sensitivity: Estimate, nuclide: str, quantity: str) -> Estimate:
    """Return the factor a maker arrives at who takes the quantity's number for µSv/h."""
    from counterproof.physics.dose import convert_rate

    if quantity == "kerma":  # 1 µGy/h shown as 1 µSv/h
        return sensitivity.scaled(convert_rate(1.0, "air_kerma", "h10", nuclide))
    if quantity == "exposure":  # 1 R shown as 10 mSv
        return sensitivity.scaled(convert_rate(0.1, "exposure", "h10", nuclide))
    return sensitivity


def weigh(factor: Estimate, known: Sequence[Candidate]) -> list[float]:
    """Return log₁₀ of each candidate's Bayes factor against 'none of them'.

    Normal in the logarithm, with the uncertainties of factor, sensitivity and setting; the rival
    lies anywhere within a factor of four.
    """
    weights = []
    for c in known:
        u = math.hypot(factor.relative_u, c.factor.relative_u, SET_U)
        z = math.log(factor.value / c.factor.value) / u
        density = -0.5 * z * z - math.log(u * math.sqrt(2.0 * math.pi))
        weights.append((density + math.log(2.0 * PRIOR)) / LN10)
    return weights


def _judged(
    name: str, number: int, factors: Sequence[Estimate], factor: Estimate, known: list[Candidate]
) -> Finding:
    weights = weigh(factor, known)
    order = sorted(range(len(known)), key=lambda i: -weights[i])
    best = known[order[0]]
    lead = weights[order[0]]
    alike = [known[i] for i in order if weights[order[0]] - weights[i] < SUBSTANTIAL]
    word = text("findings.the_factor")
    if len(factors) > 1:
        word = text("findings.lower_factor" if number == 1 else "findings.upper_factor")
    names = " / ".join(c.words for c in alike[:4])
    fits, none = lead >= SUBSTANTIAL, lead <= -SUBSTANTIAL
    statement = text(
        f"findings.set_for{'' if fits else '_none' if none else '_open'}",
        factor=word,
        value=shown(factor),
        names=names,
        nearest=best.words,
        called=shown(best.factor),
        ratio=f"{factor.value / best.factor.value:.2f}",
    )
    strength = abs(lead)
    rest = [i for i in order if known[i] not in alike] if fits else order
    rivals = tuple(
        Rival(
            statement=text(
                "findings.set_rival", what=known[i].words, called=shown(known[i].factor)
            ),
            log10_bayes_factor=weights[i] - lead if fits else weights[i],
            set_aside_because=text("findings.set_misses"),
        )
        for i in rest[:4]
    )
    if fits:
        rivals += (Rival(statement=text("findings.set_none"), log10_bayes_factor=-lead),)
    return Finding(
        instrument=name,
        subject=text("findings.subject_set", factor=word),
        statement=statement,
        runs=tuple(dict.fromkeys(r for c in known for r in c.runs)),
        strength=in_words(strength),
        log10_bayes_factor=strength,
        measured=Measured.of(factor),
        rivals=rivals,
        refuted_by=text("findings.set_refuted"),
        next_measurement=NextMeasurement(
            what=text("findings.set_next"), minutes=30.0, separates=text("findings.set_separates")
        ),
    )
