"""What the ratios to a reference counter, source by source, say about the sensor.

Each source's net count rate is divided by a reference's. Were both tubes alike, the quotient would
be the same for every source; relative to caesium it tells what the counter under test is blind or
over-sensitive to. The quotient of quotients does not need the sources' activities.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from counterproof.counting.ratio import ratio_of
from counterproof.forensics.places import open_background
from counterproof.forensics.statements import shown
from counterproof.forensics.strength import SUBSTANTIAL, bound_from_p, from_interval, in_words
from counterproof.forensics.twins import tube_likeness
from counterproof.quantities import Estimate
from counterproof.records import Finding, Measured, NextMeasurement, Rival
from counterproof.texts import text
from counterproof.trials import levels as lv
from counterproof.trials.shape import Counter, Evidence

PIVOT = "Cs-137"
BETA_RICH = frozenset({"Sr-90", "Y-90", "Tl-204", "P-32", "C-14", "K-40", "Th-232", "Bi-210"})
"""Nuclides, chains included, whose betas a thin-walled counter mostly sees."""
SOFT = frozenset({"Am-241", "Ba-133", "Co-57", "Cd-109", "Fe-55", "I-129"})
"""Nuclides whose photons lie mostly below 150 keV or are accompanied by strong soft lines."""
MINUTES = 10.0
BLIND = 0.3
"""Quotient below which betas are said not to come in at all (photons are counted in any case)."""
SAME = 0.2
"""Share by which a quotient may differ from caesium's before it is worth a finding."""


@dataclass(frozen=True)
class Quotient:
    """One source seen by both counters.

    Args:
        source: its name on the bench.
        nuclides: main one first.
        reference: the other counter.
        value: net count rate of the counter under test over the reference's.
        runs: ids of the runs behind it.
    """

    source: str
    nuclides: tuple[str, ...]
    reference: str
    value: Estimate
    runs: tuple[str, ...]


def quotients(
    counter: Counter, evidence: Sequence[Evidence], others: Sequence[str] | None = None
) -> list[Quotient]:
    """Return every source's quotient to every other counter at the same distance.

    Args:
        counter: the counter whose rate is divided.
        evidence: its runs and those of the others.
        others: names of the counters to divide by; the references when left out.
    """
    groups: dict[tuple[str, float | None], list[Evidence]] = {}
    for e in evidence:
        if len(e.run.sources) == 1 and e.run.with_source and e.run.position.is_open:
            key = (e.run.sources[0], e.run.position.distance_mm)
            groups.setdefault(key, []).append(e)
    background = {
        name: [e for e in evidence if e.counter.name == name and open_background(e)]
        for name in dict.fromkeys(e.counter.name for e in evidence)
    }
    found = []
    for (source, _), group in groups.items():
        mine = [e for e in group if e.counter.name == counter.name]
        by = [e for e in group if _is_other(e.counter, others)]
        for name, runs in lv.by_counter(by):
            if not mine or name == counter.name:
                continue
            top = lv.net(mine, background.get(counter.name, []), lv.count_rate)
            bottom = lv.net(runs, background.get(name, []), lv.count_rate)
            if top is None or bottom is None or bottom.estimate.low <= 0:
                continue
            ids = tuple(e.run.id for e in (*mine, *runs))
            quotient = ratio_of(top.estimate, bottom.estimate)
            found.append(Quotient(source, mine[0].nuclides, name, quotient, ids))
    return _best_per_source(found)


def _is_other(counter: Counter, others: Sequence[str] | None) -> bool:
    return counter.is_reference if others is None else counter.name in others


def _best_per_source(found: Sequence[Quotient]) -> list[Quotient]:
    """Keep the distance with the smallest uncertainty for each source and reference."""
    best: dict[tuple[str, str], Quotient] = {}
    for q in found:
        key = (q.source, q.reference)
        if key not in best or q.value.u < best[key].value.u:
            best[key] = q
    return list(best.values())


def response_findings(counter: Counter, evidence: Sequence[Evidence]) -> list[Finding]:
    """Return what counter and references see differently, source by source."""
    every = quotients(counter, evidence)
    found = []
    for reference in dict.fromkeys(q.reference for q in every):
        mine = [q for q in every if q.reference == reference]
        pivot = next((q for q in mine if PIVOT in q.nuclides[:1]), None)
        found += _ratios(counter.name, reference, mine)
        if pivot is None:
            continue
        for q in mine:
            if q is pivot:
                continue
            finding = _compared(counter.name, q, pivot)
            if finding is not None:
                found.append(finding)
    return found


def _ratios(name: str, reference: str, mine: Sequence[Quotient]) -> list[Finding]:
    """State the ratio of sensitivity to a reference, source by source, and whether it is one."""
    seen = [q for q in mine if np.isfinite(q.value.u) and q.value.u > 0]
    if not seen:
        return []
    each = "; ".join(f"{q.source} {shown(q.value, '')}" for q in seen)
    alike = tube_likeness([q.value for q in seen])
    statement = text("findings.ratios", reference=reference, ratios=each)
    factor = None
    if alike is not None:
        statement += " " + text(f"findings.ratios_{'one' if alike.same else 'many'}")
        factor = bound_from_p(alike.p_value)
    pivot = next((q for q in seen if PIVOT in q.nuclides[:1]), min(seen, key=lambda q: q.value.u))
    return [
        Finding(
            instrument=name,
            subject=text("findings.subject_ratios", reference=reference),
            statement=statement,
            runs=tuple(dict.fromkeys(r for q in seen for r in q.runs)),
            strength=text("findings.measured") if factor is None else in_words(factor),
            log10_bayes_factor=factor,
            measured=Measured.of(pivot.value),
            rivals=(
                Rival(statement=text("findings.response_rival_reference", reference=reference)),
                Rival(statement=text("findings.response_rival_position")),
            ),
            refuted_by=text("findings.ratios_refuted"),
            next_measurement=NextMeasurement(
                what=text("findings.ratios_next"),
                minutes=max(MINUTES * len(seen), 20.0),
                separates=text("findings.response_separates"),
            ),
        )
    ]


def _compared(name: str, q: Quotient, pivot: Quotient) -> Finding | None:
    double = ratio_of(q.value, pivot.value)
    if not np.isfinite(double.value) or not np.isfinite(double.u) or double.u <= 0:
        return None
    if 1 - SAME < double.value < 1 + SAME or double.low <= 1.0 <= double.high:
        return None
    relative = double.u / max(double.value, double.u)
    factor = from_interval(abs(np.log(max(double.value, 1e-3))) / relative, 1.0 / relative)
    if factor < SUBSTANTIAL:
        return None
    low = double.value < 1.0
    beta = bool(BETA_RICH & set(q.nuclides))
    soft = bool(SOFT & set(q.nuclides))
    kind = "beta" if beta else "soft" if soft else "other"
    word = "keen"
    if low:
        word = "less" if beta and double.high > BLIND else "blind"
    cause = text(f"findings.{kind}_{word}")
    statement = text(
        "findings.response", source=q.source, reference=q.reference, ratio=shown(double, "")
    )
    return Finding(
        instrument=name,
        subject=text("findings.subject_response", source=q.source, reference=q.reference),
        statement=f"{statement} {cause}",
        runs=(*q.runs, *pivot.runs),
        strength=in_words(factor),
        log10_bayes_factor=factor,
        measured=Measured.of(double),
        rivals=(
            Rival(statement=text("findings.response_rival_reference", reference=q.reference)),
            Rival(statement=text("findings.response_rival_position")),
        ),
        refuted_by=text("findings.response_refuted", source=q.source),
        next_measurement=NextMeasurement(
            what=text(f"findings.{kind}_next", source=q.source),
            minutes=MINUTES * (2.0 if beta or soft else 4.0),
            separates=text("findings.response_separates"),
        ),
    )
