"""readout and findings from the command line: plain files, a bench, and too little of either."""

from __future__ import annotations

from datetime import UTC, datetime
from pathlib import Path

import numpy as np
import pytest

from counterproof.bench import Bench as Stored
from counterproof.cli.findings import show
from counterproof.readout import Boxcar, ReadoutModel, run_readout
from counterproof.records import Run
from counterproof.records.findings import FindingListing
from counterproof.records.run import Position
from counterproof.signals.trains import CountLog, PulseTrain, ReadingLog
from tests.cli.conftest import Bench

# an invented meter: 140 and 240 cpm/(µSv/h), switch at 180 cpm (179 cpm show 1.2786 µSv/h and
# 181 cpm 0.7542, calculated)
MODEL = ReadoutModel(
    estimator=Boxcar(15.0),
    factors_cpm_per_usv_h=(140.0, 240.0),
    switches_cpm=(180.0,),
    quantum_usv_h=0.01,
    refresh_s=2.0,
)
LEVELS_CPM = (40.0, 110.0, 175.0, 240.0, 600.0)
PART_S = 240.0
DISC = """
[source]
name = "caesium disc"
nuclide = "Cs-137"
"""
KEYS = ("value", "low", "high")


def some_minutes() -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    rng = np.random.default_rng(12)
    pulses = np.concatenate(
        [
            np.sort(rng.uniform(i * PART_S, (i + 1) * PART_S, rng.poisson(cpm / 60 * PART_S)))
            for i, cpm in enumerate(LEVELS_CPM)
        ]
    )
    shown = run_readout(MODEL, pulses, PART_S * len(LEVELS_CPM))
    return pulses, shown.times_s, np.round(shown.momentary, 2)


@pytest.fixture
def files(tmp_path: Path) -> tuple[str, str]:
    pulses, times, values = some_minutes()
    p, r = tmp_path / "P.csv", tmp_path / "R.csv"
    p.write_text("time_s\n" + "".join(f"{t:.6f}\n" for t in pulses))
    rows = (f"{t:.3f},{v:.2f}\n" for t, v in zip(times, values, strict=True))
    r.write_text("time_s,value_usv_h\n" + "".join(rows))
    return str(p), str(r)


def check_keys(found: dict) -> None:  # type: ignore[type-arg]
    """Hold the names that scripts rely on."""
    assert isinstance(found["model"], str)
    assert isinstance(found["factors_cpm_per_usv_h"], list)
    parts = [*found["factors_cpm_per_usv_h"]]
    for name in ("switch_usv_h", "time_constant_s", "quantum_usv_h"):
        assert name in found
        if found[name] is not None:
            parts.append(found[name])
    for part in parts:
        assert all(isinstance(part[k], float) for k in KEYS)
        assert part["low"] <= part["value"] <= part["high"]
    assert isinstance(found["evidence"], dict)


def check_truth(found: dict) -> None:  # type: ignore[type-arg]
    check_keys(found)
    assert "two factors" in found["model"]
    factors = [f["value"] for f in found["factors_cpm_per_usv_h"]]
    assert factors == pytest.approx([140.0, 240.0], rel=0.01)
    # in displayed units of the lower range: count rate over the lowest factor
    switch = found["switch_usv_h"]
    assert switch["low"] <= 180 / 140 <= switch["high"]
    assert switch["value"] == pytest.approx(180 / 140, rel=0.05)
    assert found["time_constant_s"]["value"] == pytest.approx(15.0, rel=0.02)
    assert found["quantum_usv_h"]["value"] == pytest.approx(0.01)
    assert found["evidence"]["hypotheses"]


def test_two_plain_files(bench: Bench, files: tuple[str, str]) -> None:
    pulses, readings = files
    check_truth(bench.json("readout", "--pulses", pulses, "--readings", readings))


def test_readings_alone_tell_the_step_and_what_is_missing(
    bench: Bench, files: tuple[str, str]
) -> None:
    found = bench.json("readout", "--readings", files[1])
    check_keys(found)
    assert found["model"] == "undetermined"
    assert found["factors_cpm_per_usv_h"] == []
    assert found["switch_usv_h"] is None
    assert found["time_constant_s"] is None
    assert found["quantum_usv_h"]["value"] == pytest.approx(0.01)
    assert "No pulses" in found["missing"][0]


@pytest.mark.parametrize(
    ("content", "words"),
    [
        ("time_s\n1\n2\n", "value_usv_h"),
        ("time_s,value_usv_h\n1,0.1\n2,x\n", "Line 3"),
        ("", "no heading"),
    ],
)
def test_bad_files_get_one_sentence(
    content: str, words: str, bench: Bench, files: tuple[str, str], tmp_path: Path
) -> None:
    bad = tmp_path / "bad.csv"
    bad.write_text(content)
    assert words in bench("readout", "--pulses", files[0], "--readings", str(bad), code=2)


def test_what_to_read_must_be_said(bench: Bench, files: tuple[str, str]) -> None:
    assert "--instrument" in bench("readout", "--pulses", files[0], code=2)
    assert "Lantern" in bench("readout", "--instrument", "Lantrn", code=2)
    assert "both clicks" in bench("readout", "--instrument", "Lantern", code=2)


def stored(folder: Path, run_id: str, instrument: str, signals: list, near: bool = False) -> None:  # type: ignore[type-arg]
    length = max(getattr(s, "duration_s", 0.0) for s in signals) or 600.0
    run = Run(
        id=run_id,
        instrument=instrument,
        position=Position(distance_mm=50.0 if near else None),
        sources=("caesium disc",) if near else (),
        started_utc=datetime(2026, 3, 14, tzinfo=UTC),
        duration_s=length,
    )
    with Stored.open(folder, write=True) as opened:
        opened.add_run(run, signals)


@pytest.fixture
def filled(bench: Bench, tmp_path: Path) -> Bench:
    """Lantern's clicks and display at five levels; Wren's counts at background and a source."""
    (tmp_path / "disc.toml").write_text(DISC)
    bench("kit", "add", str(tmp_path / "disc.toml"))
    pulses, times, values = some_minutes()
    for i in range(len(LEVELS_CPM)):
        start, end = i * PART_S, (i + 1) * PART_S
        p, r = (pulses >= start) & (pulses < end), (times >= start) & (times < end)
        train = PulseTrain(pulses[p] - start, PART_S)
        log = ReadingLog(times[r] - start, values[r], "dose_rate", "µSv/h")
        stored(bench.folder, f"level-{i}", "Lantern", [train, log], near=i > 0)
    for name, counts in (("wren-bg", 900), ("wren-near", 9000)):
        log = CountLog(np.zeros(1), np.array([3600.0]), np.array([counts]))
        stored(bench.folder, name, "Wren", [log], near="near" in name)
    return bench


def test_an_instrument_on_a_bench(filled: Bench) -> None:
    found = filled.json("readout", str(filled.folder), "--instrument", "Lantern")
    check_truth(found)
    assert found["instrument"] == "Lantern"
    assert len(found["runs"]) == 5


def test_findings_of_an_instrument(
    filled: Bench, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    found = filled.json("findings", str(filled.folder), "--instrument", "Lantern", "--keep")
    by_subject = {f["subject"]: f for f in found["findings"]}
    factors = by_subject["factors"]
    assert "two factors" in factors["statement"]
    assert factors["log10_bayes_factor"] > 2
    assert factors["strength"] == "decisive"
    assert set(factors["runs"]) == {f"level-{i}" for i in range(5)}
    # every finding: what it rests on, rivals, what would refute it, the next step with its minutes
    for each in found["findings"]:
        assert each["runs"], each["subject"]
        assert each["rivals"], each["subject"]
        assert each["refuted_by"], each["subject"]
        assert each["next_measurement"]["minutes"] > 0, each["subject"]
        assert each["next_measurement"]["separates"], each["subject"]
    show(FindingListing.model_validate(found))
    told = capsys.readouterr().out
    assert "Bayes factor" in told
    assert "Would refute it" in told
    assert "Next:" in told
    target = tmp_path / "dossier.html"
    filled("dossier", "-i", "Lantern", "-o", str(target))
    page = target.read_text()
    assert "The display uses two factors" in page
    assert "Bayes factor" in page


def test_a_box_whose_clicks_were_not_recorded(filled: Bench) -> None:
    for i in range(len(LEVELS_CPM)):
        filled("bench", "remove", f"level-{i}")
    _, times, values = some_minutes()
    log = ReadingLog(times, values, "dose_rate", "µSv/h")
    stored(filled.folder, "mute", "Lantern", [log])
    found = filled.json("readout", str(filled.folder), "--instrument", "Lantern")
    check_keys(found)
    assert found["model"] == "undetermined"
    assert found["factors_cpm_per_usv_h"] == []
    assert found["quantum_usv_h"]["value"] == pytest.approx(0.01)
    assert any("both clicks" in m for m in found["missing"])
    listing = filled.json("findings", str(filled.folder), "--instrument", "Lantern")
    assert all(f["subject"] not in ("factors", "estimator") for f in listing["findings"])
    assert listing["missing"]
    told = filled("findings", str(filled.folder), "--instrument", "Lantern")
    assert "both clicks" in told
    told = filled("readout", str(filled.folder), "--instrument", "Lantern")
    assert "not known" in told
