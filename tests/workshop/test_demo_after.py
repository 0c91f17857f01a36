"""The second half of the invented story, and the commands that tell it of anybody's bench."""

import json
from collections.abc import Iterator
from datetime import UTC, datetime
from pathlib import Path

import pytest

from counterproof.bench import Bench
from counterproof.cli import app as frame
from counterproof.progress import silent
from counterproof.records import Outlook, Run
from counterproof.records.calibration import Calibration
from counterproof.records.comparison import Comparison, Schedule
from counterproof.records.results import Results
from counterproof.records.retest import Retest
from counterproof.simulate import hollow_lane_after
from counterproof.workshop.demo_after import PROBE, prove, rebuilt
from tests.workshop.silent_bench import make


@pytest.fixture(scope="module")
def folder(tmp_path_factory: pytest.TempPathFactory) -> Path:
    made = tmp_path_factory.mktemp("lane") / "bench"
    make(made)
    outlook = Outlook(
        id="retrofit-of-Lantern", instrument="Lantern", present="Lantern's tube", statement="",
        candidates=(), range_usv_h=(0.1, 10.0), background_usv_h=0.1,
    )  # fmt: skip
    with Bench.open(made) as bench:
        start = datetime(2026, 3, 16, tzinfo=UTC)
        rebuilt(bench, outlook, start, hollow_lane_after.SEED, silent)
        prove(bench, silent)
    return made


@pytest.fixture
def bench(folder: Path) -> Iterator[Bench]:
    with Bench.open(folder) as opened:
        yield opened


def test_the_probe_is_measured_like_any_counter(bench: Bench) -> None:
    runs = [r for r in bench.list(Run, "Lantern") if r.probe == PROBE]
    assert len(runs) == len(hollow_lane_after.RUNS)
    own, with_probe = sorted(bench.list(Calibration, "Lantern"), key=lambda c: c.probe or "")
    assert (own.probe, with_probe.probe) == (None, PROBE)
    # hidden truth: 1.55 counts per second per µSv/h
    band = with_probe.bands[0]
    assert band.sensitivity is not None
    assert band.sensitivity.low < 60 * 1.55 < band.sensitivity.high
    # it stood at 190 above the switch, so about half of what is there was shown, and 95 is best
    top = with_probe.bands[-1]
    assert top.response is not None
    assert top.response.low < 60 * 1.55 / 190 < top.response.high
    (advice,) = with_probe.advice
    assert advice.present == pytest.approx(190, rel=0.05)
    assert advice.best == pytest.approx(60 * 1.55, rel=0.2)
    assert advice.applies == "above the switch"


def test_the_retest_knows_both_sides(bench: Bench) -> None:
    (found,) = bench.list(Retest, "Lantern")
    assert found.after == PROBE
    assert found.pulls == ()
    assert any("Nothing was predicted" in m for m in found.missing)
    gain = next(
        p.gain
        for p in found.pairs
        if p.quantity.startswith("caesium disc") and "net count rate" in p.quantity and p.gain
    )
    assert gain.low < 1.55 / 1.90 < gain.high


COMMANDS = {
    "calibrate": (Calibration, ["-i", "Lantern", "--probe", PROBE]),
    "compare": (Comparison, []),
    "retest": (Retest, ["-i", "Lantern", "--probe", PROBE, "--trial", "background"]),
}


@pytest.mark.parametrize("name", COMMANDS)
def test_commands_print_their_records(
    name: str, folder: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    record, words = COMMANDS[name]
    assert frame.run([name, str(folder), *words, "--json"]) == 0
    told = capsys.readouterr().out
    assert record.model_validate_json(told).kind == json.loads(told)["kind"]
    assert frame.run([name, str(folder), *words]) == 0
    assert "Lantern" in capsys.readouterr().out


def test_a_day_is_printed(folder: Path, capsys: pytest.CaptureFixture[str]) -> None:
    words = ["compare", str(folder), "--schedule", "-i", "Lantern", "-i", "Wren"]
    assert frame.run([*words, "-s", "caesium disc", "--json"]) == 0
    assert Schedule.model_validate_json(capsys.readouterr().out).slots
    assert frame.run([*words, "-s", "caesium disc", "--hours", "0"]) == 2
    assert "at least two counters" in capsys.readouterr().err


def test_results_are_exported(
    folder: Path, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    words = ["export", "-b", str(folder), "-i", "Lantern", "-o", str(tmp_path)]
    assert frame.run([*words, "--json"]) == 0
    told = Results.model_validate_json(capsys.readouterr().out)
    assert any(r.chapter == "calibration" for r in told.rows)
    assert (tmp_path / "results.csv").exists()
    assert frame.run([*words, "--with", "gold"]) == 2
    assert "no extra 'gold'" in capsys.readouterr().err


def test_what_is_typed_wrongly_gets_a_sentence(
    folder: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    for words, told in (
        (["--offset-u", "-2 mm"], "negative"),
        (["--scatter", "much"], "is not a quantity"),
        (["--nuclide", "Cs-13"], "Cs-13"),
        (["--probe", "none such"], "--probe"),
    ):
        assert frame.run(["calibrate", str(folder), "-i", "Lantern", *words]) == 2
        assert told in capsys.readouterr().err
