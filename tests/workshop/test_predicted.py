"""Predicted curves beside the points of the energy response and of the angle trial."""

from pathlib import Path

import pytest

from counterproof.bench import Bench
from counterproof.kit import Instrument, Probe, Tube, loads_item
from counterproof.workshop import predicted
from counterproof.workshop.evidence import gather

# everything known, so that one design is computed; a steel wall of 0.1 mm. Invented.
TUBE = """
[tube]
name = "slim"
outer_diameter_mm = 10.2
length_mm = 62.0
wall = { material = "stainless steel", thickness_mm = 0.1 }
gas = { fill = "Ne", pressure_kpa = 30, radius_mm = 5.0, length_mm = 60.0 }
"""
PROBE = """
[probe]
name = "wand"
tube = "slim"
filter = [{ material = "tin", thickness_mm = 0.5 }]
"""


@pytest.fixture
def bench(tmp_path: Path) -> Bench:
    made = Bench.create(tmp_path / "bench")
    for item in (TUBE, PROBE, '[instrument]\nname = "Lantern"\ntube = "slim"\n'):
        made.add(loads_item(item))
    return made


def test_a_thin_steel_tube_over_reads_soft_photons(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(predicted, "ENERGIES_KEV", (60, 662))
    curve = predicted.energy_curve(Tube.loads(TUBE, ""))
    assert curve.x == (60.0, 662.0)
    # thin-walled tubes over-read 60 keV several-fold against caesium: common practice, no source
    assert 3.0 < (curve.y[0] or 0.0) < 12.0
    assert curve.y[1] == pytest.approx(1.0, abs=0.02)
    filtered = Tube.loads(TUBE, "").model_copy(update={"filter": loads_item(PROBE).filter})
    tamed = predicted.energy_curve(filtered)
    # 0.5 mm of tin (7.29 g/cm³) passes e^(-6.564 · 0.3645) = 9 % of 60 keV (µ/ρ: NIST XCOM)
    assert (tamed.y[0] or 0.0) < 0.25 * (curve.y[0] or 0.0)


def test_a_slim_tube_sees_less_from_its_end(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(predicted, "ANGLES_DEG", (0, 90, 180))
    curve = predicted.angle_curve(Tube.loads(TUBE, ""), 662.0)
    front, end, back = curve.y
    assert (front, back) == (1.0, 1.0)
    # end-on the tube offers π r² instead of 2 r l, here 0.13 of it, and longer paths in its wall
    assert 0.05 < (end or 0.0) < 0.6
    assert curve.low[0] == curve.high[0] == 1.0


def test_which_tube_is_in_use(bench: Bench) -> None:
    from datetime import UTC, datetime

    from counterproof.records import Run
    from counterproof.trials.shape import Counter, Evidence

    def run(probe: str | None) -> Evidence:
        made = Run(
            id=f"r-{probe}", instrument="Lantern", probe=probe, duration_s=60.0,
            started_utc=datetime(2026, 3, 14, tzinfo=UTC),
        )  # fmt: skip
        return Evidence(made, Counter("Lantern"))

    built_in = predicted.tube_in_use(bench, "Lantern", [run(None)])
    assert built_in is not None
    assert not built_in.filter
    on_probe = predicted.tube_in_use(bench, "Lantern", [run("wand")])
    assert on_probe is not None
    assert [f.material for f in on_probe.filter] == ["tin"]
    assert predicted.tube_in_use(bench, "Lantern", [run("wand"), run(None)]) is None


def test_the_trial_gets_its_curve(bench: Bench, monkeypatch: pytest.MonkeyPatch) -> None:
    from datetime import UTC, datetime

    from counterproof.records import Run
    from counterproof.trials.shape import Counter, Evidence

    monkeypatch.setattr(predicted, "ANGLES_DEG", (0, 90))
    made = Run(
        id="r", instrument="Lantern", sources=("caesium",), duration_s=60.0,
        started_utc=datetime(2026, 3, 14, tzinfo=UTC),
    )  # fmt: skip
    counter = Counter("Lantern")
    evidence = [Evidence(made, counter, nuclides=("Cs-137",))]
    given, notes = predicted.with_predictions(bench, counter, "angle", evidence)
    assert notes == ()
    assert given.predicted_angle is not None
    assert given.predicted_angle.x == (0.0, 90.0)
    bench.add(loads_item('[instrument]\nname = "Heron"\n'))
    other = Counter("Heron")
    strange = [Evidence(made.model_copy(update={"instrument": "Heron"}), other)]
    given, notes = predicted.with_predictions(bench, other, "angle", strange)
    assert given == other
    assert "not described" in notes[0]


def test_only_trials_that_show_a_curve_get_one(bench: Bench) -> None:
    from counterproof.workshop.counters import counter_of

    counter = counter_of(bench.get(Instrument, "Lantern"))
    evidence = gather(bench, "Lantern")
    assert predicted.with_predictions(bench, counter, "background", evidence) == (counter, ())
    assert predicted.with_predictions(bench, counter, "angle", evidence) == (counter, ())
    assert bench.names(Probe) == ("wand",)
