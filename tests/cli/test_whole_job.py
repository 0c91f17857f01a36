"""The main job from the command line: bench, kit, runs, trial, dossier; and what goes wrong."""

import csv
import json
import wave
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest

from counterproof.cli import app as frame
from tests.cli.conftest import Bench

DATA = Path(__file__).parents[1] / "data"


def counts_table(path: Path, rate_per_s: float, intervals: int, seed: int) -> Path:
    """Write counts per minute in a table with semicolons and a header."""
    rng = np.random.default_rng(seed)
    with path.open("w", newline="") as out:
        writer = csv.writer(out, delimiter=";")
        writer.writerow(["start", "counts"])
        for i, n in enumerate(rng.poisson(60 * rate_per_s, intervals)):
            writer.writerow([60 * i, n])
    return path


COLUMNS = ("role=counts", "time_columns=1", "value_column=2", "interval_s=60")


def column_options(words: tuple[str, ...]) -> list[str]:
    return [part for word in words for part in ("--column", word)]


def test_from_tables_and_typed_readings_to_a_verdict(bench: Bench, tmp_path: Path) -> None:
    table = counts_table(tmp_path / "wren.csv", 0.3, 240, 1)
    added = bench.json(
        "add-run", "-i", "Wren", "--table", str(table), *column_options(COLUMNS), "--yes"
    )
    assert added["runs"][0]["rate_per_s"]["value"] == pytest.approx(0.3, rel=0.1)
    readings = [p for v in ("0.19", "0.18", "0.17", "0.18") for p in ("--reading", f"{v} µSv/h")]
    bench("add-run", "-i", "Lantern", "--lasted", "4 h", *readings)
    bench(
        "add-run", "-i", "Lantern", "--lasted", "4 h", "--reading", "0.18 µSv/h",
        "--field", "average",
    )  # fmt: skip
    outcome = bench.json("trial", "judge", "background", "-i", "Lantern")
    assert outcome["verdict"] == "not met"
    assert outcome["judgements"][0]["measured"]["value"] == pytest.approx(1.5, abs=0.15)
    assert "does not meet" in bench("trial", "judge", "background", "-i", "Lantern")

    target = tmp_path / "out" / "dossier.html"
    target.parent.mkdir()
    bench("dossier", "-i", "Lantern", "-o", str(target))
    page = target.read_text()
    assert "not met" in page
    content = json.loads(target.with_suffix(".json").read_text())
    assert content["kind"] == "publication"
    for run in content["runs"]:
        for signal in run["signals"]:
            assert signal["sha256"] in page
    assert bench.json("bench", "check")["ok"]
    assert bench.json("bench", "show")["items"]["run"] == 3


@pytest.mark.parametrize("name,total,chi2", [("lab_low", 624, 211.90), ("lab_high", 23419, 169.45)])
def test_real_laboratory_counts_come_out_as_verdicts(
    name: str, total: int, chi2: float, bench: Bench
) -> None:
    """200 counts of 1 s (public repository catacisneros/PHY3802L_Fall2025, Counting_Statistics).

    Their sums and χ² were computed from that file independently of this code.
    """
    words = ("role=counts", "time_columns=1", "value_column=3", "interval_s=1")
    bench(
        "add-run", "-i", "Lantern", "--table", str(DATA / f"{name}.csv"),
        *column_options(words), "--yes",
    )  # fmt: skip
    background = bench.json("trial", "judge", "background", "-i", "Lantern")
    scatter = next(r["values"] for r in background["table"] if "chi-squared" in r["values"])
    assert scatter["counts"] == total
    assert scatter["chi-squared"] == pytest.approx(chi2, abs=0.01)
    assert scatter["reads"] == "as Poisson"
    repeat = bench.json("trial", "judge", "repeatability", "-i", "Lantern")
    assert repeat["verdict"] == "met"
    ratio = repeat["judgements"][0]["measured"]
    assert ratio["value"] ** 2 * 199 == pytest.approx(chi2, abs=0.01)
    assert ratio["low"] < ratio["value"] < ratio["high"]


def test_rutherford_and_geiger_scatter_as_poisson(bench: Bench, tmp_path: Path) -> None:
    """Alpha counts in 7.5 s, Rutherford and Geiger, Phil. Mag. 20 (1910) 698: N 2608, Σ 10097."""
    with (DATA / "rutherford_geiger_1910.csv").open() as table:
        rows = [(int(r["counts"]), int(r["intervals"])) for r in csv.DictReader(table)]
    values = np.repeat([c for c, _ in rows], [n for _, n in rows])
    values = np.random.default_rng(1).permutation(values)
    path = tmp_path / "alpha.csv"
    lines = [f"{7.5 * i},{n}" for i, n in enumerate(values)]
    path.write_text("start_s,counts\n" + "\n".join(lines) + "\n")
    words = ("role=counts", "time_columns=1", "value_column=2", "interval_s=7.5")
    bench("add-run", "-i", "Lantern", "--table", str(path), *column_options(words), "--yes")
    outcome = bench.json("trial", "judge", "repeatability", "-i", "Lantern")
    assert outcome["verdict"] == "met"
    # variance over mean 0.955 with the divisor N (the paper's table); ours divides by N - 1
    measured = outcome["judgements"][0]["measured"]["value"]
    assert measured**2 * 2607 / 2608 == pytest.approx(0.955, abs=0.001)


def test_the_demonstration_lays_open_what_it_hid(
    tmp_path: Path, capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch
) -> None:
    """One of its stories on short runs: about 0.6 of the reference's dose rate at caesium."""
    from counterproof.dossier import build_html
    from counterproof.simulate import hollow_lane
    from counterproof.workshop import demo

    kept = [r for r in hollow_lane.RUNS if r.key.split("-")[0] in ("background", "caesium")]
    kept = [r for r in kept if r.counter != "Heron" and r.purpose != "dose-rate ladder"]
    kept = [replace(r, duration_s=min(r.duration_s, 200.0)) for r in kept]
    write = hollow_lane.write_runs
    monkeypatch.setattr(
        demo.hollow_lane, "write_runs", lambda folder, **more: write(folder, runs=kept, **more)
    )
    told = demo.tell(tmp_path / "lane")
    response = next(o for o in told.outcomes if o.trial == "source response")
    assert response.verdict == "not met"
    ratio = response.judgements[0].measured
    assert ratio.low is not None
    assert ratio.high is not None
    # the truth that was hidden: factor 190 with the source, 110 at background
    with_source = 60 * hollow_lane.true_rate_per_s("Lantern", "caesium") / 190.0
    without = 60 * hollow_lane.true_rate_per_s("Lantern") / 110.0
    truth = (with_source - without) / hollow_lane.dose_rate_usv_h("caesium", 0.05)["caesium"]
    assert truth == pytest.approx(0.55, abs=0.05)
    assert ratio.low < truth < ratio.high
    assert "An invented example" in build_html(told.publication)
    # told again, it replaces what it made and nothing else
    (tmp_path / "mine").mkdir()
    (tmp_path / "mine" / "letter.txt").write_text("keep me")
    assert frame.run(["demo", str(tmp_path / "mine")]) == 2
    assert "not an earlier demonstration" in capsys.readouterr().err
    assert (tmp_path / "mine" / "letter.txt").read_text() == "keep me"


def write_wav(path: Path, seconds: float) -> Path:
    with wave.open(str(path), "wb") as out:
        out.setparams((1, 2, 8000, 0, "NONE", ""))
        out.writeframes(b"\0\0" * int(8000 * seconds))
    return path


@pytest.mark.parametrize(
    "content,words",
    [
        ("start;counts\n0;12\n60;-3\n120;9\n", "line 3"),
        ("start;counts\n0;12\n120;9\n60;8\n", "line 4"),
        ("start;counts\n0;12\n60;9,5\n", "line 3"),
    ],
)
def test_a_bad_table_stores_nothing(content: str, words: str, bench: Bench, tmp_path: Path) -> None:
    table = tmp_path / "bad.csv"
    table.write_text(content)
    told = bench(
        "add-run", "-i", "Lantern", "--table", str(table), *column_options(COLUMNS),
        "--column", "separator=semicolon", "--yes", code=2,
    )  # fmt: skip
    assert words in told
    assert bench.json("bench", "show")["items"]["run"] == 0
    assert bench.json("bench", "check")["ok"]


def test_mixed_units_are_refused(bench: Bench, tmp_path: Path) -> None:
    table = tmp_path / "mixed.csv"
    table.write_text("0,0.12,µSv/h\n10,0.13,µSv/h\n20,130,nSv/h\n")
    words = (
        "role=dose_rate", "time_columns=1", "value_column=2", "unit_column=3", "unit=µSv/h",
        "separator=comma",
    )  # fmt: skip
    told = bench(
        "add-run", "-i", "Lantern", "--table", str(table), *column_options(words), "--yes", code=2
    )
    assert "line 3" in told


@pytest.mark.parametrize(
    "arguments,words",
    [
        (("add-run", "-i", "Lantrn", "--lasted", "1 h", "--reading", "0.1 µSv/h"), "Lantern"),
        (("add-run", "-i", "Lantern"), "nothing to store"),
        (("add-run", "-i", "Lantern", "--reading", "0.1 µSv/h"), "--lasted"),
        (("add-run", "-i", "Lantern", "--lasted", "1 h", "--reading", "0.1"), "no unit"),
        (("add-run", "-i", "Lantern", "--lasted", "1 kg", "--reading", "0.1 µSv/h"), "kg"),
        (
            ("add-run", "-i", "Lantern", "--lasted", "1 h", "--reading", "0.1 µSv/h",
             "--reading", "9 cpm"),
            "one unit",
        ),
        (
            ("add-run", "-i", "Lantern", "--lasted", "1 h", "--reading", "3 µSv",
             "--field", "accumulated"),
            "twice",
        ),
        (
            ("add-run", "-i", "Lantern", "--lasted", "1 h", "--reading", "1 cpm", "-s", "radium"),
            "radium",
        ),
        (("add-run", "-i", "Lantern", "--started", "yesterday", "x.wav"), "moment"),
        (("trial", "judge", "backgroud", "-i", "Lantern"), "background"),
        (("trial", "judge", "background", "-i", "Nobody"), "Nobody"),
        (("trial", "judge", "background", "-i", "Lantern", "--profile", "grade_x"), "grade_"),
        (("trial", "judge", "background", "-i", "Lantern", "--run", "r9"), "r9"),
        (("kit", "add", "teapot"), "teapot"),
        (("kit", "show", "teapot"), "teapot"),
        (("bench", "remove", "r9"), "r9"),
        (("bench", "show", "--bench", "nowhere"), "nowhere"),
        (("dossier", "-i", "Nobody"), "Nobody"),
    ],
)  # fmt: skip
def test_one_sentence_says_what_and_how(
    arguments: tuple[str, ...], words: str, bench: Bench
) -> None:
    assert words in bench(*arguments, code=2)


def test_no_bench_named(monkeypatch: pytest.MonkeyPatch, tmp_path: Path, bench: Bench) -> None:
    monkeypatch.delenv("COUNTERPROOF_BENCH")
    monkeypatch.chdir(tmp_path)
    assert "bench create" in bench("bench", "show", code=2)
    monkeypatch.chdir(bench.folder)
    assert bench.json("bench", "show")["name"] == "Hollow Lane (invented)"


def test_silence_is_kept_but_counts_nothing(bench: Bench, tmp_path: Path) -> None:
    added = bench.json("add-run", "-i", "Lantern", str(write_wav(tmp_path / "quiet.wav", 12.0)))
    (run,) = added["runs"]
    assert run["rate_per_s"] is None
    assert run["warnings"]
    assert [s["form"] for s in run["run"]["signals"]] == ["recording"]


def test_a_run_taken_out_comes_back(bench: Bench) -> None:
    bench("add-run", "-i", "Lantern", "--lasted", "1 h", "--reading", "0.1 µSv/h", "--name", "r1")
    bench("bench", "remove", "r1", "--why", "knocked over")
    assert bench.json("bench", "runs")["runs"] == []
    bench("bench", "restore", "r1")
    assert [r["run"]["id"] for r in bench.json("bench", "runs")["runs"]] == ["r1"]


def test_a_bench_travels_as_one_file(bench: Bench, tmp_path: Path) -> None:
    bench("add-run", "-i", "Lantern", "--lasted", "1 h", "--reading", "0.1 µSv/h")
    packed = tmp_path / "packed.zip"
    bench("bench", "export", str(packed))
    bench("bench", "import", str(packed), str(tmp_path / "again"))
    again = bench.json("bench", "show", "--bench", str(tmp_path / "again"))
    assert again["items"] == bench.json("bench", "show")["items"]
    told = bench("bench", "import", str(packed), str(tmp_path / "again"), code=2)
    assert "again" in told


def test_kit_asks_and_asks_again(bench: Bench, monkeypatch: pytest.MonkeyPatch) -> None:
    answers = iter(["caesium disc", "Xs-137", "Cs-137"] + [""] * 40)
    monkeypatch.setattr("typer.prompt", lambda *_, default="", **__: next(answers) or default)
    bench("kit", "add", "source")
    assert 'nuclide = "Cs-137"' in bench("kit", "show", "caesium disc")


def test_a_plan_uses_what_the_bench_knows(bench: Bench, tmp_path: Path) -> None:
    table = counts_table(tmp_path / "own.csv", 0.5, 120, 3)
    bench("add-run", "-i", "Lantern", "--table", str(table), *column_options(COLUMNS), "--yes")
    plan = bench.json("trial", "plan", "background", "-i", "Lantern", "--uncertainty", "2 %")
    # 1/√N = 2 % needs 2500 counts (Poisson), at 0.5 /s 5000 s
    assert plan["runs"][0]["minutes"] == pytest.approx(5000 / 60, rel=0.1)
