"""What stands between a source and the gas: wall, window, sleeve, as findings.

Two ways lead there. An absorber series (the beta shutter trial) gives the effective wall. And a
beta source of which a counter sees next to nothing, where another counter sees its betas, gives a
least mass per area: the share of betas that come through at most is known, and with the source's
spectrum the layer that lets no more through. Neither says what the layer is; the bench's
description of the tube, if there is one, is set beside it.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from functools import lru_cache

import numpy as np

from counterproof.counting.ratio import ratio_of
from counterproof.forensics.responsefindings import PIVOT, Quotient, quotients
from counterproof.forensics.statements import shown
from counterproof.forensics.strength import SUBSTANTIAL, from_interval, in_words
from counterproof.quantities import Estimate
from counterproof.records import Finding, Measured, NextMeasurement, Outcome, Rival, Row
from counterproof.texts import text
from counterproof.trials import beta_shutter
from counterproof.trials.criteria import DEFAULT_PROFILE, profile
from counterproof.trials.emitted import hard_betas, spectrum_of
from counterproof.trials.shape import Counter, Evidence
from counterproof.trials.wall import beta_range_mg_cm2, end_point_mev

CLASSES = {"window": (0.5, 10.0), "thin": (10.0, 200.0), "thick": (200.0, 3000.0)}
"""What tubes are built with, mg/cm² (common practice, no source): a mica window or a foil; thin
steel or thin glass; thick walls and sleeves. Within a class any decade is as likely."""
GEOMETRY = 3.0
"""Factor by which two counters of unlike size may differ in betas over photons, walls alike
(this project's own allowance)."""
BLIND = 0.1
"""Share of the reference's betas below which a layer is called for."""
ORDINARY = 80.0
"""mg/cm² of an ordinary thin steel wall (0.1 mm), the rival of a sleeve."""
SURE_CLASS = 1.0
"""log₁₀ of the Bayes factor from which a class of wall is stated (strong): the betas' angles are
not known, and they shift the wall by as much as its interval."""


@dataclass(frozen=True)
class Described:
    """What the bench says stands between the outside and the gas, at its thinnest place.

    Args:
        what: in words.
        low_mg_cm2: least mass per area.
        high_mg_cm2: most.
    """

    what: str
    low_mg_cm2: float
    high_mg_cm2: float


def wall_findings(
    counter: Counter, evidence: Sequence[Evidence], described: Described | None = None
) -> list[Finding]:
    """Return the effective wall and whether there is a window, from absorber series.

    Args:
        counter: the counter under test.
        evidence: its own runs and those of references.
        described: what the bench says of its tube.
    """
    if not beta_shutter.TRIAL.serves(counter, evidence):
        return []
    outcome = beta_shutter.TRIAL.analyse(counter, evidence, profile(DEFAULT_PROFILE))
    found = []
    for row in outcome.table:
        wall = row.values.get("effective wall")
        if row.instrument == counter.name and isinstance(wall, Measured):
            found.append(_wall(counter.name, row, wall.estimate(), outcome, described))
    return found


def class_weights(wall: Estimate) -> dict[str, float]:
    """Return the marginal likelihood of each class of construction for a measured wall.

    A normal likelihood (one-sided beyond an unbounded end) over a prior flat in the logarithm.
    """
    weights = {}
    for name, (low, high) in CLASSES.items():
        x = np.geomspace(low, high, 400)
        upper = wall.high if math.isfinite(wall.high) else 10.0 * max(wall.value, wall.low)
        down = max((wall.value - wall.low) / 1.96, 0.3)
        up = max((upper - wall.value) / 1.96, 0.3)
        z = np.where(x < wall.value, (x - wall.value) / down, (x - wall.value) / up)
        weights[name] = float(np.mean(np.exp(-0.5 * z**2))) + 1e-12
    return weights


def _wall(
    name: str, row: Row, wall: Estimate, outcome: Outcome, described: Described | None
) -> Finding:
    weights = class_weights(wall)
    best = max(weights, key=lambda k: weights[k])
    ratios = {k: math.log10(w / weights[best]) for k, w in weights.items() if k != best}
    lead = -max(ratios.values())
    interval = shown(wall) if math.isfinite(wall.high) else _at_least(wall.low)
    said = text("findings.wall", wall=interval, source=row.label)
    sure = lead >= SURE_CLASS
    said += " " + text(f"findings.wall_{best}" if sure else "findings.wall_open")
    rivals = [
        Rival(
            statement=text(f"findings.wall_rival_{k}"),
            log10_bayes_factor=v,
            set_aside_because=text("findings.wall_outside") if v < -SUBSTANTIAL else "",
        )
        for k, v in sorted(ratios.items(), key=lambda kv: -kv[1])
    ]
    return Finding(
        instrument=name,
        subject=text("findings.subject_wall", source=row.label),
        statement=" ".join([said, *_beside(described, wall.low, wall.high)]),
        runs=outcome.runs,
        strength=in_words(lead),
        log10_bayes_factor=lead,
        measured=Measured.of(wall),
        rivals=(*rivals, Rival(statement=text("findings.wall_rival_cover"))),
        refuted_by=text("findings.wall_refuted"),
        next_measurement=NextMeasurement(
            what=text("findings.wall_next"), minutes=30.0, separates=text("findings.wall_separates")
        ),
        missing=tuple(w for w in outcome.warnings if row.label in w),
    )


def _at_least(value: float) -> str:
    return text("findings.at_least", value=f"{value:.2g}")


def _beside(described: Described | None, low: float, high: float) -> list[str]:
    """Set what is described beside what was measured (mg/cm²)."""
    if described is None:
        return []
    fits = described.high_mg_cm2 >= low and described.low_mg_cm2 <= high
    ends = (described.low_mg_cm2, described.high_mg_cm2)
    given = f"{ends[0]:.0f}" if ends[1] < 1.02 * ends[0] else f"{ends[0]:.0f} … {ends[1]:.0f}"
    key = "findings.described_fits" if fits else "findings.described_not"
    return [text(key, what=described.what, areal=given)]


def cover_findings(
    counter: Counter, evidence: Sequence[Evidence], described: Described | None = None
) -> list[Finding]:
    """Return the least mass per area before the gas, where betas that others see are missing.

    The source's net rate is divided by a reference's and by the same quotient for caesium; of a
    layer as thin as the reference's that would be about 1. Arguments as :func:`wall_findings`.
    """
    every = quotients(counter, evidence)
    tried = []
    for q in every:
        pivot = next(
            (p for p in every if p.reference == q.reference and PIVOT in p.nuclides[:1]), None
        )
        if pivot is None or pivot is q or not hard_betas(q.nuclides):
            continue
        double = ratio_of(q.value, pivot.value)
        if math.isfinite(double.high) and double.high < BLIND:
            least = layer_for_share(q.nuclides, GEOMETRY * max(double.high, 1e-4))
            if least > 2.0 * ORDINARY:
                tried.append((least, q, pivot, double))
    if not tried:
        return []
    least, q, pivot, double = max(tried, key=lambda c: c[0])
    return [_cover(counter.name, least, (q, pivot), double, described)]


def _cover(
    name: str,
    least: float,
    pair: tuple[Quotient, Quotient],
    double: Estimate,
    described: Described | None,
) -> Finding:
    q, pivot = pair
    # an ordinary wall would let this share through; its distance from what was seen is the evidence
    ordinary = share_behind(q.nuclides, ORDINARY) / GEOMETRY
    u = max(double.u, 0.1 * ordinary)
    factor = max(from_interval((ordinary - double.value) / u, ordinary / u), 0.0)
    end = end_point_mev(q.nuclides) or 0.0
    said = text(
        "findings.cover",
        source=q.source,
        reference=q.reference,
        least=f"{least:.0f}",
        steel=f"{least / 785.0:.1f}",
        share=f"{100.0 * max(double.high, 0.0):.2g}",
        reach=f"{beta_range_mg_cm2(end):.0f}" if end > 0 else "?",
    )
    return Finding(
        instrument=name,
        subject=text("findings.subject_cover"),
        statement=" ".join([said, *_beside(described, least, math.inf)]),
        runs=(*q.runs, *pivot.runs),
        strength=in_words(factor),
        log10_bayes_factor=factor,
        measured=Measured(value=least, low=least, unit="mg/cm²", method="betas that are missing"),
        rivals=(
            Rival(
                statement=text("findings.cover_rival_wall", wall=f"{ORDINARY:.0f}"),
                log10_bayes_factor=-factor,
                set_aside_because=text("findings.cover_outside"),
            ),
            Rival(statement=text("findings.cover_rival_turned")),
        ),
        refuted_by=text("findings.cover_refuted", source=q.source),
        next_measurement=NextMeasurement(
            what=text("findings.cover_next", source=q.source),
            minutes=20.0,
            separates=text("findings.cover_separates"),
        ),
    )


@lru_cache(maxsize=256)
def share_behind(nuclides: tuple[str, ...], areal_mg_cm2: float) -> float:
    """Return the share of a source's electrons that come through a layer of aluminium.

    They meet it at all angles, as those of a near source do; 0 for a source without electrons.
    """
    from counterproof.physics.electrons.transport import number_behind
    from counterproof.physics.sheets import sheet

    spectrum = spectrum_of(nuclides)
    if spectrum is None or float(spectrum.electron_per_s.sum()) <= 0.0:
        return 0.0
    rate = spectrum.electron_per_s / spectrum.electron_per_s.sum()
    layers = [sheet("Al", None, areal_mg_cm2)]
    return float(number_behind(layers, spectrum.electron_edges_kev, rate, isotropic=True).sum())


def layer_for_share(nuclides: tuple[str, ...], share: float) -> float:
    """Return the aluminium (mg/cm²) behind which no more than ``share`` of the electrons are left.

    Electrons at all angles need the least layer for that, so the answer is a lower bound.
    """
    grid = np.geomspace(1.0, 3000.0, 40)
    passed = np.array([share_behind(nuclides, float(x)) for x in grid])
    beyond = np.flatnonzero(passed <= share)
    if not beyond.size:
        return float(grid[-1])
    i = int(beyond[0])
    return float(grid[max(i - 1, 0)])
