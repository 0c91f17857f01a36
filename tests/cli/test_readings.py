"""`counterproof readings`: a sheet first, then the promised JSON; both witnesses on a bench."""

import csv
import json
from pathlib import Path

import jsonschema
import numpy as np
import pytest

from counterproof.cli import app as frame
from counterproof.records.schema import schemas
from counterproof.simulate.acoustics import Recording, Scene, record
from counterproof.simulate.clicks import draw_click
from counterproof.simulate.video import Filmed, Shown, film
from tests.signals.video.films import CAMERA, PANEL, readings_shown


@pytest.fixture(autouse=True)
def _own_log(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setenv("COUNTERPROOF_LOG_FOLDER", str(tmp_path / "log"))


def sound_of(times_s: np.ndarray, seconds: float) -> Recording:  # type: ignore[type-arg]
    click = draw_click("piezo", np.random.default_rng(3))
    return record(times_s, seconds, Scene(click, noise_db={"pink": -40.0}), 4)


@pytest.fixture
def filmed(tmp_path: Path) -> tuple[Filmed, Shown]:
    shown = readings_shown()
    clicks = np.sort(np.random.default_rng(5).uniform(0, 16.0, 50))
    sound = sound_of(clicks, 16.4)
    return film(tmp_path / "film.mp4", shown, 16.4, PANEL, CAMERA, 5, sound=sound), shown


def declared(made: Filmed) -> list[str]:
    region = ",".join(map(str, made.region))
    return ["--region", region, "--format", "0.00", "--unit", "uSv/h"]


def key(sheet: Path, shown: Shown) -> None:
    with sheet.open() as table:
        rows = list(csv.DictReader(table))
    for row in rows:
        row["reading"] = shown.at(float(row["time_s"]))
    with sheet.open("w", newline="") as out:
        table_out = csv.DictWriter(out, rows[0].keys())
        table_out.writeheader()
        table_out.writerows(rows)


def test_a_sheet_then_readings_then_a_run(
    filmed: tuple[Filmed, Shown], tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    made, shown = filmed
    base = ["readings", str(made.path), *declared(made)]
    assert frame.run([*base, "--json"]) == 0
    told = capsys.readouterr()
    first = json.loads(told.out)
    jsonschema.validate(first, schemas()["video_readings"])
    sheet = tmp_path / "film-sheet.csv"
    assert first["values"] == []
    assert first["sheet"] == str(sheet)
    assert len(first["asked"]) >= 4
    assert "are to be keyed" in told.err
    assert str(sheet.with_suffix(".png")) in told.err
    assert sheet.with_suffix(".png").read_bytes().startswith(b"\x89PNG")

    # an unkeyed sheet teaches nothing and says so again
    assert frame.run([*base, "--teach", str(sheet), "--json"]) == 0
    assert json.loads(capsys.readouterr().out)["values"] == []

    key(sheet, shown)
    assert frame.run([*base, "--teach", str(sheet), "--json"]) == 0
    found = json.loads(capsys.readouterr().out)
    jsonschema.validate(found, schemas()["video_readings"])
    assert len(found["times_s"]) == len(found["values"]) == len(found["confidence"]) >= 16
    for t, v in zip(found["times_s"], found["values"], strict=True):
        assert v in {float(shown.at(t + off) or "nan") for off in (-0.15, 0.0, 0.15)}
    assert found["asked"] == []
    assert found["quantum"] == 0.01
    assert found["refresh_s"]["value"] == pytest.approx(1.0, abs=0.01)
    assert min(found["confidence"]) > 0.5
    assert frame.run([*base, "--teach", str(sheet)]) == 0
    assert "uSv/h" in capsys.readouterr().out

    bench = str(tmp_path / "bench")
    lantern = tmp_path / "lantern.toml"
    lantern.write_text('[instrument]\nname = "Lantern"\n')
    assert frame.run(["bench", "create", bench]) == 0
    assert frame.run(["kit", "add", str(lantern), "--bench", bench]) == 0
    capsys.readouterr()
    add = ["add-run", "-i", "Lantern", str(made.path), *declared(made), "--bench", bench, "--json"]
    assert frame.run(add) == 2
    assert "has not been taught" in capsys.readouterr().err
    assert frame.run([*add, "--keyed", str(sheet)]) == 0
    (run,) = json.loads(capsys.readouterr().out)["runs"]
    forms = {s["form"]: s for s in run["run"]["signals"]}
    assert set(forms) == {"pulse_train", "reading_log", "recording"}
    assert forms["reading_log"]["unit"] == "uSv/h"
    assert forms["pulse_train"]["count"] == pytest.approx(50, abs=3)


@pytest.mark.parametrize(
    "options,sentence",
    [
        ([], "must be marked"),
        (["--region", "1,2,3"], "Give the format and the unit"),
        (["--region", "1,2,3", "--format", "0.00", "--unit", "uSv/h"], "four numbers"),
        (["--region", "1,2,30,40", "--format", "9.99", "--unit", "uSv/h"], "written with zeros"),
        (
            ["--region", "1,2,30,40", "--region", "1,2,30,40", "--format", "0", "--unit", "cpm"],
            "2 regions and 1 formats",
        ),
        (
            ["--region", "1,2,30,40", "--format", "0", "--unit", "cpm", "--field", "other"],
            "momentary, average, accumulated",
        ),
    ],
)
def test_what_is_declared_wrongly_gets_one_sentence(
    options: list[str], sentence: str, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    assert frame.run(["readings", str(tmp_path / "none.mp4"), *options]) == 2
    told = capsys.readouterr().err
    assert sentence in told
    assert len(told.strip().splitlines()) == 1
