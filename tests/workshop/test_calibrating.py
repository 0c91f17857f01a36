"""Calibrating, comparing and retesting from a bench, and what they refuse to say."""

from collections.abc import Iterator
from datetime import date

import pytest

from counterproof.bench import Bench
from counterproof.calibration import says
from counterproof.errors import UserError
from counterproof.kit import Instrument, Source
from counterproof.records import Measured, Outlook, Predicted, Run
from counterproof.records.calibration import Calibration
from counterproof.records.retest import Retest
from counterproof.workshop.calibrating import calibrate_instrument, keep_calibration
from counterproof.workshop.comparing import compare_instruments, plan_day
from counterproof.workshop.retesting import keep_retest, retest_instrument
from tests.workshop.silent_bench import PROBE, make


@pytest.fixture(scope="module")
def bench(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Bench]:
    folder = tmp_path_factory.mktemp("silent") / "bench"
    make(folder, after=True)
    with Bench.open(folder) as opened:
        yield opened


def test_lantern_is_found_out(bench: Bench) -> None:
    # the invented truth: 114 cpm per µSv/h behind factors of 110 and 190
    found = calibrate_instrument(bench, "Lantern")
    assert found.standing == "checked, not traceable"
    assert found.model == "two factors"
    assert [b.name for b in found.bands] == ["below the switch", "above the switch"]
    for band, true in zip(found.bands, (114 / 110, 114 / 190), strict=True):
        assert band.response is not None
        assert band.response.low < true < band.response.high
        assert band.sensitivity is not None
        assert band.sensitivity.low < 114 < band.sensitivity.high
    assert "no traceable calibration" in says(found)[0]
    assert found.validity.nuclides == ("Cs-137",)
    assert found.validity.dated == date(2026, 3, 14)
    assert found.simulated
    background = found.levels[-1]
    assert background.response is not None
    assert background.response.value == pytest.approx(1.32, abs=0.1)  # a third too much


def test_only_what_is_traceable_sets_the_scale(bench: Bench) -> None:
    wren = bench.get(Instrument, "Wren")
    proven = wren.calibration[0].model_copy(update={"traceable": True})
    with bench.transaction():
        bench.amend(wren.model_copy(update={"calibration": (proven,)}))
    try:
        found = calibrate_instrument(bench, "Lantern")
        assert found.standing == "calibrated, traceable"
        assert [link.name for link in found.links] == ["Wren"]
        assert any("caesium disc gave only the shape" in w for w in found.warnings)
        stale = proven.model_copy(update={"date": date(2020, 1, 1)})
        bench.amend(wren.model_copy(update={"calibration": (stale,)}))
        found = calibrate_instrument(bench, "Lantern")
        assert found.standing == "checked, not traceable"
        assert any("more than two years old" in w for w in found.warnings)
    finally:
        bench.amend(wren)


def test_without_anything_known_only_ratios_are_told(bench: Bench) -> None:
    disc, wren = bench.get(Source, "caesium disc"), bench.get(Instrument, "Wren")
    bare = {"activity": None, "activity_uncertainty": None, "reference_date": None}
    with bench.transaction():
        bench.amend(disc.model_copy(update=bare))
        bench.amend(wren.model_copy(update={"calibration": ()}))
    try:
        found = calibrate_instrument(bench, "Lantern")
        assert found.standing == "relative only"
        assert found.bands[0].sensitivity is None
        first, second = (b.response for b in found.bands)
        assert first is not None
        assert second is not None
        # the step between the factors needs no scale
        assert (second.value or 0) / (first.value or 1) == pytest.approx(110 / 190, rel=0.35)
    finally:
        with bench.transaction():
            bench.amend(disc)
            bench.amend(wren)


def test_calibrations_are_kept_beside_each_other(bench: Bench) -> None:
    found = calibrate_instrument(bench, "Lantern")
    keep_calibration(bench, found)
    kept = keep_calibration(bench, found)
    with_probe = keep_calibration(bench, calibrate_instrument(bench, "Lantern", probe=PROBE))
    assert kept.id != with_probe.id
    assert {c.id for c in bench.list(Calibration, "Lantern")} == {kept.id, with_probe.id}
    assert with_probe.probe == PROBE


def test_what_cannot_be_calibrated_gets_a_sentence(bench: Bench) -> None:
    with pytest.raises(UserError, match="name one with --probe"):
        calibrate_instrument(bench, "Lantern", probe="another")
    with pytest.raises(UserError, match="no background run"):
        calibrate_instrument(bench, "Lantern", runs=["caesium-lantern", "caesium-lantern-20cm"])
    with pytest.raises(UserError, match="no run with a source"):
        calibrate_instrument(bench, "Lantern", nuclide="Co-60")


def test_counters_are_compared(bench: Bench) -> None:
    found = compare_instruments(bench)
    assert found.instruments == ("Heron", "Lantern", "Wren")
    by = {(r.instrument, r.source): r for r in found.ratios}
    lantern = by["Lantern", "caesium disc"]
    assert lantern.ratio is not None
    assert lantern.ratio.value == pytest.approx(0.58, abs=0.15)
    assert lantern.verdict == "not met"
    assert by["Heron", "caesium disc"].verdict == "met"
    assert {p.instrument for p in found.ranking} == {"Heron", "Lantern", "Wren"}
    assert any("is not ranked by it" in w for w in found.warnings)
    with pytest.raises(UserError, match="at least two"):
        compare_instruments(bench, ["Wren"])


def test_a_day_is_planned(bench: Bench) -> None:
    day = plan_day(bench, ["Lantern", "Wren", "Heron"], ["caesium disc"], hours=5, places=2)
    assert [s.source for s in day.slots] == ["", "caesium disc"] * 3 + [""]
    assert day.total_minutes == pytest.approx(300, abs=1)
    assert {s.places for s in day.slots if s.source} == {
        ("Lantern", "Wren"), ("Wren", "Heron"), ("Heron", "Lantern"),
    }  # fmt: skip
    with pytest.raises(UserError, match="do not fit"):
        plan_day(bench, ["Lantern", "Wren"], ["caesium disc"], hours=0.1)


def predicted(quantity: str, value: float, u: float, source: str = "", unit: str = "1/s"):
    spread = Measured(value=value, u=u, low=value - 1.96 * u, high=value + 1.96 * u, unit=unit)
    return Predicted(
        key=f"{source}:{quantity}",
        quantity=quantity,
        statement=f"{quantity} at {source or 'background'}",
        tube="slim steel",
        probe=PROBE,
        sources=(source,) if source else (),
        distance_mm=50.0 if source else None,
        minutes=1.5,
        expected=spread,
        retest=spread,
    )


def test_a_retest_pairs_and_pulls(bench: Bench) -> None:
    # Wren's tube makes 2.5 counts per second per µSv/h where Lantern's made 1.9
    forecasts = (
        predicted("background count rate", 0.28, 0.03),
        predicted("net count rate", 2.5 * 1.34, 0.3, "caesium disc"),
        predicted("gain", 2.5 / 1.9, 0.3, "caesium disc", ""),
        predicted("net count rate", 40.0, 4.0, "jar of potassium salt"),
    )
    outlook = Outlook(
        id="outlook-1", instrument="Lantern", present="Lantern's tube", statement="",
        candidates=(), range_usv_h=(0.1, 10.0), background_usv_h=0.1, predictions=forecasts,
    )  # fmt: skip
    bench.add(outlook)
    found = keep_retest(
        bench,
        retest_instrument(bench, "Lantern", PROBE, trials=["background", "source response"]),
    )
    by = {p.key: p for p in found.pulls}
    assert len(found.pulls) == 4
    assert by[":background count rate"].inside
    assert abs(by["caesium disc:net count rate"].pull or 9.0) < 3
    assert not by["jar of potassium salt:net count rate"].inside
    assert found.missed >= 1
    judged = [p for p in found.pairs if p.verdict_before != "no criterion"]
    assert {"background", "source response"} <= {p.trial for p in judged}
    assert all(p.gain is not None for p in judged)
    rate = next(
        p for p in found.pairs if "net count rate" in p.quantity and "caesium" in p.quantity
    )
    assert rate.gain is not None
    assert rate.gain.low < 2.5 / 1.9 < rate.gain.high
    assert bench.get(Retest, found.id) == found
    # with the old factors the better tube shows more than there is: that is said by name
    assert found.regressions == tuple(r for r in found.regressions if "worse" in r)


def test_a_retest_needs_both_sides(bench: Bench) -> None:
    with pytest.raises(UserError, match="before and after"):
        retest_instrument(bench, "Lantern", "no such probe")
    runs = [r.id for r in bench.list(Run, "Lantern") if r.probe == PROBE]
    assert runs
