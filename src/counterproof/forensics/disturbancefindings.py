"""Interference as findings: what disturbs the counts, or what would have been noticed."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from counterproof.counting.planning import time_to_tell_apart
from counterproof.forensics.interference import (
    ALARM,
    FEWEST_PULSES,
    Disturbance,
    disturbances,
    level_pieces,
)
from counterproof.forensics.strength import bound_from_p, in_words
from counterproof.quantities import Estimate
from counterproof.records import Finding, Measured, NextMeasurement, Rival, Row
from counterproof.texts import text
from counterproof.trials import light
from counterproof.trials.criteria import DEFAULT_PROFILE, profile
from counterproof.trials.shape import Counter, Evidence

MINUTES = 10.0
SURE_MINUTES = 120.0
LONGEST_MINUTES = 24 * 60.0


def disturbance_findings(name: str, own: Sequence[Evidence]) -> list[Finding]:
    """Return the disturbances of the pulses that were found, or one finding that none was.

    Args:
        name: the instrument.
        own: its runs; those with anything altered on purpose are left out.
    """
    trains, cut = [], 0
    for e in own:
        if e.pulses is None or e.run.is_altered:
            continue
        pieces = level_pieces(e.pulses)
        cut += len(pieces) > 1
        trains += [(e.run.id, piece) for piece in pieces if piece.count >= FEWEST_PULSES]
    tests = len(trains)
    tested = [(run, d) for run, train in trains for d in disturbances(train, ALARM / tests)]
    if not tested:
        return []
    kinds = tuple(dict.fromkeys(d.kind for _, d in tested))
    found = []
    for kind in kinds:
        hits = [(r, d) for r, d in tested if d.kind == kind and d.p_value * tests < ALARM]
        if hits:
            found.append(_disturbed(name, kind, hits, tests))
    return found or [_undisturbed(name, tested, kinds, cut)]


def _disturbed(
    name: str, kind: str, hits: Sequence[tuple[str, Disturbance]], tests: int
) -> Finding:
    run, worst = min(hits, key=lambda h: h[1].p_value)
    factor = bound_from_p(min(1.0, worst.p_value * tests))
    key = kind.replace(" ", "_")
    return Finding(
        instrument=name,
        subject=kind,
        statement=text(
            f"findings.{key}",
            size=f"{worst.size:.3g}",
            seen=_size(kind, worst.seen),
            n=len(hits),
            of=tests,
            run=run,
        ),
        runs=tuple(dict.fromkeys(r for r, _ in hits)),
        strength=in_words(factor),
        log10_bayes_factor=factor,
        rivals=(Rival(statement=text(f"findings.{key}_rival")),),
        refuted_by=text("findings.disturbance_refuted"),
        next_measurement=NextMeasurement(
            what=text(f"findings.{key}_next"),
            minutes=MINUTES,
            separates=text("findings.disturbance_separates"),
        ),
    )


def _undisturbed(
    name: str, tested: Sequence[tuple[str, Disturbance]], kinds: Sequence[str], cut: int
) -> Finding:
    """Nothing was found: say what the most telling run would have shown, test by test."""
    runs = tuple(dict.fromkeys(r for r, _ in tested))
    seen = {}
    for kind in kinds:
        sizes = [d.seen for _, d in tested if d.kind == kind]
        # the best run decides what could have been seen at all
        seen[kind.replace(" ", "_")] = _size(kind, max(sizes) if "regular" in kind else min(sizes))
    return Finding(
        instrument=name,
        subject=text("findings.subject_disturbance"),
        statement=" ".join(
            [
                text("findings.undisturbed", runs=len(runs), **seen),
                *([text("findings.cut", n=cut)] if cut else []),
            ]
        ),
        runs=runs,
        strength=in_words(None),
        rivals=(Rival(statement=text("findings.undisturbed_rival")),),
        refuted_by=text("findings.undisturbed_refuted"),
        next_measurement=NextMeasurement(
            what=text("findings.undisturbed_next"),
            minutes=SURE_MINUTES,
            separates=text("findings.undisturbed_separates"),
        ),
    )


def _size(kind: str, seen: float) -> str:
    """Print the size of effect that would have been noticed."""
    if kind in ("unsteady", "too regular"):
        return f"{seen:.2g}"
    return f"{100.0 * seen:.2g} %" if seen < 1.0 else text("findings.no_size")


def light_findings(counter: Counter, own: Sequence[Evidence]) -> list[Finding]:
    """Return whether the counter counts light, from the light trial's runs."""
    if not light.TRIAL.serves(counter, own):
        return []
    outcome = light.TRIAL.analyse(counter, own, profile(DEFAULT_PROFILE))
    dark = [e.run.id for e in own if e.word("light") == "dark"]
    found = []
    for row in outcome.table:
        ratio, p = row.values.get("lit over dark"), row.values.get("p")
        if isinstance(ratio, Measured) and isinstance(p, float):
            found.append(_light(counter.name, row, ratio.estimate(), p, outcome.runs or dark))
    return found


def _light(name: str, row: Row, ratio: Estimate, p: float, runs: Sequence[str]) -> Finding:
    lamp, seen, dark = row.label, row.values.get("would have noticed above"), row.values.get("dark")
    counted = p < ALARM and ratio.value > 1.0
    power = f"{100.0 * seen:.0f} %" if isinstance(seen, float) else text("findings.no_size")
    key = "light" if counted else "no_light"
    factor = bound_from_p(p) if counted else None
    return Finding(
        instrument=name,
        subject=text("findings.subject_light", lamp=lamp),
        statement=text(
            f"findings.{key}",
            lamp=lamp,
            ratio=f"{ratio.value:.3g}",
            low=f"{ratio.low:.3g}",
            high=f"{ratio.high:.3g}",
            seen=power,
        ),
        runs=tuple(runs),
        strength=in_words(factor),
        log10_bayes_factor=factor,
        measured=Measured.of(ratio),
        rivals=(Rival(statement=text(f"findings.{key}_rival")),),
        refuted_by=text(f"findings.{key}_refuted"),
        next_measurement=NextMeasurement(
            what=text(f"findings.{key}_next"),
            minutes=_light_minutes(ratio, dark.value if isinstance(dark, Measured) else None),
            separates=text(f"findings.{key}_separates"),
        ),
    )


def _light_minutes(ratio: Estimate, dark_per_s: float | None) -> float:
    """Minutes of each run that tell the measured excess, or one of a tenth, from none."""
    if not dark_per_s:
        return MINUTES
    excess = max(ratio.value, 1.1)
    seconds = time_to_tell_apart(excess * dark_per_s, dark_per_s, alpha=ALARM)
    return float(np.clip(seconds / 60.0, 2.0, LONGEST_MINUTES))
