"""Wall, window and cover; ratios to a reference; the nuclide of the factor; counts of its own."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from counterproof.forensics.answer import ReadoutFit
from counterproof.forensics.backgroundfindings import background_findings, passed_share
from counterproof.forensics.nuclidefindings import candidates, nuclide_findings
from counterproof.forensics.responsefindings import response_findings
from counterproof.forensics.sensorfindings import (
    Described,
    class_weights,
    cover_findings,
    layer_for_share,
    share_behind,
    wall_findings,
)
from counterproof.physics.electrons import transport
from counterproof.physics.sheets import sheet
from counterproof.quantities import Estimate
from counterproof.records import Finding
from counterproof.records.run import Absorber
from counterproof.trials.emitted import spectrum_of
from counterproof.trials.shape import Evidence
from tests.forensics.runs import LANTERN, WREN, estimate, evidence

SR = ("Sr-90", "Y-90")


def one(found: list[Finding], subject: str) -> Finding:
    hits = [f for f in found if f.subject.startswith(subject)]
    assert len(hits) == 1, [f.subject for f in found]
    return hits[0]


def test_share_behind_a_layer():
    # screening law e^(-17x/E^1.43), x in g/cm² (common practice, from memory, within 20-30 %), mean
    # of Sr-90 and Y-90: 40 mg/cm² (0.20 + 0.81)/2, 118 mg/cm² (0.01 + 0.54)/2
    assert share_behind(SR, 40.0) == pytest.approx(0.505, rel=0.25)
    assert share_behind(SR, 118.0) == pytest.approx(0.275, rel=0.25)
    # nothing comes through more than the range: Y-90 1095 mg/cm² (Katz and Penfold 1952)
    assert share_behind(SR, 1100.0) < 1e-4
    assert 0.01 * 0.9 < share_behind(SR, layer_for_share(SR, 0.01)) < 0.03


def near_sources(strontium: float, salt: float = 1.0) -> list[Evidence]:
    """Lantern and Wren before caesium, strontium and potassium, counts per 600 s."""
    runs = []
    for counter, rates in ((LANTERN, (0.24, 2.0, strontium, salt)), (WREN, (0.28, 2.6, 50.0, 1.3))):
        places = ((), ("caesium",), ("strontium",), ("salt",))
        nuclides = ((), ("Cs-137",), SR, ("K-40",))
        for where, what, rate in zip(places, nuclides, rates, strict=True):
            net = rate if not where else rate + rates[0]
            name = f"{counter.name}-{'-'.join(where) or 'bg'}"
            runs.append(
                evidence(name, counter, sources=where, nuclides=what, counts=round(net * 6000))
            )
    return [replace(r, run=r.run.model_copy(update={"duration_s": 6000.0}), counts=log(r))
            for r in runs]  # fmt: skip


def log(e: Evidence):
    assert e.counts is not None
    return replace(e.counts, durations_s=np.array([6000.0]))


def test_a_cover_is_found_where_betas_are_missing():
    brass = Described("brass", 1280.0, 1320.0)
    found = one(cover_findings(LANTERN, near_sources(0.01), brass), "cover")
    assert found.strength == "decisive"
    assert found.measured is not None
    assert found.measured.low is not None
    assert 500.0 < found.measured.low < 1280.0
    assert "which accounts for it" in found.statement
    thin = Described("thin steel", 40.0, 80.0)
    assert "does not agree" in cover_findings(LANTERN, near_sources(0.01), thin)[0].statement


@pytest.mark.parametrize("strontium", [10.0, 40.0])
def test_no_cover_where_betas_come_in(strontium: float):
    assert cover_findings(LANTERN, near_sources(strontium)) == []


def test_ratios_to_a_reference_one_or_many():
    blind = one(response_findings(LANTERN, near_sources(0.01)), "sensitivity beside Wren")
    assert "caesium 0.7" in blind.statement
    assert "No one ratio" in blind.statement
    assert blind.strength == "decisive"
    assert blind.next_measurement is not None
    alike = one(response_findings(LANTERN, near_sources(38.5)), "sensitivity beside Wren")
    assert "One ratio describes all" in alike.statement


PLATES = {
    ("C-14",): (0.0, 2.0, 5.0, 10.0, 20.0, 60.0),
    ("Tl-204",): (0.0, 10.0, 30.0, 80.0, 150.0, 400.0),
    SR: (0.0, 20.0, 60.0, 150.0, 400.0, 1200.0),
}


def entering(nuclides: tuple[str, ...], plate: float, wall: float, side: bool) -> float:
    """Share of a source's electrons that pass a plate on it and then a wall of the tube.

    A window is met upright; a cylinder's side at a height b along 1/√(1 - b²) times the wall.
    """
    spectrum = spectrum_of(nuclides)
    assert spectrum is not None
    edges = spectrum.electron_edges_kev
    rate = spectrum.electron_per_s / spectrum.electron_per_s.sum()
    if plate > 0.0:
        rate = transport.through_cover([sheet("Al", None, plate)], edges, rate)
    heights = (np.arange(12) + 0.5) / 12.0 if side else np.zeros(1)
    walls = wall / np.sqrt(1.0 - heights**2)
    through = [transport.number_behind([sheet("Al", None, float(w))], edges, rate) for w in walls]
    return float(np.mean([t.sum() for t in through]))


def shutter(wall_mg_cm2: float, nuclides: tuple[str, ...], side: bool) -> list[Evidence]:
    """Counts behind plates for a tube of a known wall: betas by transport, few photons."""
    runs = [evidence("bg", counts=2400, seconds=6000.0)]
    for areal in PLATES[nuclides]:
        passed = entering(nuclides, areal, wall_mg_cm2, side)
        plate = (Absorber(material="Al", areal_density_mg_cm2=areal),) if areal else ()
        runs.append(
            evidence(
                f"plate{areal:.0f}",
                sources=("button",),
                nuclides=nuclides,
                distance_mm=1.0,
                absorbers=plate,
                counts=round((60.0 * passed + 0.3 + 0.4) * 6000.0),
                seconds=6000.0,
                cover_mg_cm2=0.0,
            )
        )
    return runs


CLASS_OF = {1.5: "a window", 5.0: "a window", 15.0: "a thin wall", 60.0: "a thin wall",
            120.0: "a thin wall", 350.0: "a thick wall"}  # fmt: skip


@pytest.mark.parametrize("nuclides", list(PLATES))
@pytest.mark.parametrize("side", [False, True])
def test_the_class_of_a_wall_is_right_or_open(nuclides: tuple[str, ...], side: bool):
    for wall, right in CLASS_OF.items():
        for found in wall_findings(LANTERN, shutter(wall, nuclides, side)):
            is_open = "cannot be told apart yet" in found.statement
            assert is_open or f"That is {right}" in found.statement, (wall, found.statement)
            assert found.next_measurement is not None
            assert any("against the tube" in r.statement for r in found.rivals)
            assert found.measured is not None
            low, high = found.measured.low or 0.0, found.measured.high or np.inf
            assert low <= wall <= high, (wall, low, high)


def test_a_soft_source_shows_a_window_and_a_hard_one_a_thick_wall():
    window = one(wall_findings(LANTERN, shutter(1.5, ("C-14",), False)), "effective wall")
    assert "That is a window" in window.statement
    assert window.strength == "decisive"
    thick = one(wall_findings(LANTERN, shutter(350.0, SR, True)), "effective wall")
    assert "That is a thick wall" in thick.statement
    assert any("window" in r.statement and r.set_aside_because for r in thick.rivals)


def test_classes_of_walls():
    def best(e: Estimate) -> str:
        weights = class_weights(e)
        return max(weights, key=lambda k: weights[k])

    assert best(Estimate(2.0, 0.5, 1.0, 3.0)) == "window"
    assert best(Estimate(60.0, 6.0, 48.0, 72.0)) == "thin"
    assert best(Estimate(1280.0, 100.0, 1000.0, float("inf"))) == "thick"
    # an interval that holds all three leaves the question open
    open_ = class_weights(Estimate(50.0, 100.0, 0.0, 400.0))
    assert max(open_.values()) / sorted(open_.values())[-2] < 10.0


def caesium_at_known_dose() -> list[Evidence]:
    """A tube that counts 114 per minute and µSv/h before caesium: 10 µSv/h, known to 2 %."""
    return [
        evidence("bg", counts=round(0.24 * 6000), seconds=6000.0),
        evidence(
            "cs",
            sources=("caesium",),
            nuclides=("Cs-137",),
            counts=round((114.0 / 60.0 * 10.0 + 0.24) * 6000),
            seconds=6000.0,
            expected=estimate(10.0, 0.02),
        ),
    ]


def fit_of(*factors: float) -> ReadoutFit:
    return ReadoutFit("boxcar", factors=tuple(estimate(f, 0.003, "cpm/(µSv/h)") for f in factors))


def test_what_a_maker_arrives_at():
    by_quantity = {c.quantity: c.factor.value for c in candidates(LANTERN, caesium_at_known_dose())}
    # Cs-137: H*(10)/Ka 1.203 (ICRP 74, interpolated); 1 R is 10.5 mSv of H*(10)
    assert by_quantity["h10"] == pytest.approx(114.0, rel=0.005)
    assert by_quantity["kerma"] == pytest.approx(114.0 * 1.203, rel=0.01)
    assert by_quantity["exposure"] == pytest.approx(114.0 * 1.05, rel=0.01)


@pytest.mark.parametrize(
    ("factor", "fits"),
    [(137.0, "Cs-137 in air kerma:"), (114.0, "Cs-137 in H*(10)"), (190.0, "fits no nuclide")],
)
def test_nuclide_and_quantity_of_a_factor(factor: float, fits: str):
    found = nuclide_findings(LANTERN, caesium_at_known_dose(), fit_of(factor))
    assert len(found) == 1
    assert fits in found[0].statement
    assert found[0].log10_bayes_factor is not None
    assert found[0].log10_bayes_factor > 0.5
    assert found[0].rivals


def test_two_factors_are_judged_one_by_one_and_a_bare_source_by_none():
    found = nuclide_findings(LANTERN, caesium_at_known_dose(), fit_of(114.0, 190.0))
    assert [f.subject.split("'")[0] for f in found] == [
        "what the lower range", "what the upper range"
    ]  # fmt: skip
    bare = [replace(e, cover_mg_cm2=1.0) for e in caesium_at_known_dose()]
    assert nuclide_findings(LANTERN, bare, fit_of(114.0)) == []


LEAD = (Absorber(material="Pb", thickness_mm=50.0),)


def test_share_that_a_shield_passes():
    # µ/ρ of lead at 1250 keV 0.05876 cm²/g (NIST XCOM): µx 3.33 in 5 cm, (1 + µx)e^(-µx) 0.155
    assert passed_share(LEAD) == pytest.approx(0.4 + 0.6 * 0.155, rel=0.02)


def shielded(own_per_s: float) -> list[Evidence]:
    field = 0.20  # of which 45 % comes through: cosmic rays and a little more
    return [
        evidence("open", counts=round((field + own_per_s) * 20000), seconds=20000.0),
        evidence(
            "shield",
            absorbers=LEAD,
            counts=round((0.45 * field + own_per_s) * 20000),
            seconds=20000.0,
        ),
    ]


def test_counts_of_its_own_in_a_shield():
    active = one(background_findings(LANTERN, shielded(0.30), None), "counts in a shield")
    assert active.measured is not None
    low, high = active.measured.low, active.measured.high
    assert low is not None
    assert high is not None
    assert low < 60 * 0.30 < high
    assert active.strength == "decisive"
    clean = one(background_findings(LANTERN, shielded(0.0), None), "counts in a shield")
    assert clean.statement.startswith("At most")
    assert clean.log10_bayes_factor is None


def unshielded(own_per_s: float) -> list[Evidence]:
    """Background 0.1 µSv/h beside Wren, caesium before both: Lantern 1.9 per s and µSv/h."""
    runs = []
    for counter, s, own in ((LANTERN, 1.9, own_per_s), (WREN, 2.5, 0.0)):
        for name, field in (("bg", 0.0), ("cs", 2.0)):
            runs.append(
                evidence(
                    f"{counter.name}-{name}",
                    counter,
                    sources=("caesium",) if field else (),
                    nuclides=("Cs-137",) if field else (),
                    counts=round((s * (0.1 + field) + own) * 20000),
                    seconds=20000.0,
                )
            )
    return runs


def test_counts_of_its_own_beside_a_reference():
    active = one(background_findings(LANTERN, unshielded(0.15), None), "counts of its own")
    assert active.measured is not None
    assert active.measured.value == pytest.approx(9.0, rel=0.05)
    assert active.strength == "decisive"
    assert any("response to background" in r.statement for r in active.rivals)
    clean = one(background_findings(LANTERN, unshielded(0.0), None), "counts of its own")
    assert clean.statement.startswith("No counts of its own")
    assert clean.log10_bayes_factor is None
    assert background_findings(LANTERN, unshielded(0.0)[:1], None) == []
