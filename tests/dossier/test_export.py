"""Exports hold the numbers and figures, and nothing private unless it was chosen."""

import csv
import io
import json
from pathlib import Path

from PIL import Image

from counterproof.dossier.export import Chosen, charts_of, discreet, export, table
from counterproof.records.results import ResultRow, Results, results_of
from tests.dossier.full import full


def size(path: Path) -> tuple[int, int]:
    with Image.open(path) as picture:
        return picture.size


def private():
    p = full()
    run = p.runs[0]
    position = run.position.model_copy(update={"place": "Secret Street 7"})
    run = run.model_copy(update={"note": "spoken by A. Invented", "position": position})
    return p.model_copy(update={"runs": (run,)})


def test_files_are_what_they_claim(tmp_path: Path) -> None:
    p = private()
    written = export(p, tmp_path, Chosen(frames=True))
    names = {path.relative_to(tmp_path).as_posix() for path in written}
    assert {"results.csv", "results.json", "publication.json"} <= names
    charts = len(list(charts_of(p)))
    assert charts >= 3
    assert len([n for n in names if n.endswith(".svg")]) == charts
    frames = sorted((tmp_path / "frames").iterdir())
    assert len(frames) == charts
    assert {size(f) for f in frames} == {(1920, 1080)}
    assert min(size(f)[0] for f in (tmp_path / "figures").glob("*.png")) >= 1900
    with (tmp_path / "results.csv").open(encoding="utf-8") as stream:
        rows = list(csv.DictReader(stream))
    read = Results.model_validate_json((tmp_path / "results.json").read_text(encoding="utf-8"))
    assert len(rows) == len(read.rows) > 20
    assert tuple(rows[0]) == tuple(ResultRow.model_fields)
    ratio = next(r for r in rows if r["chapter"] == "trial" and r["quantity"] == "ratio")
    assert (ratio["value"], ratio["verdict"], ratio["runs"]) == ("0.6", "not met", "r1")


def test_private_things_stay_out_unless_chosen(tmp_path: Path) -> None:
    p = private()
    secrets = ("Secret Street", "spoken by", "a bench (invented)", "A. Invented", p.photos[0].data)
    plain = discreet(p, Chosen()).to_json()
    assert [s for s in secrets if s in plain] == []
    everything = discreet(p, Chosen(places=True, notes=True, photos=True)).to_json()
    assert all(s in everything for s in secrets)
    written = export(p, tmp_path)
    told = b"".join(f.read_bytes() for f in written if f.suffix in (".csv", ".json", ".svg"))
    assert [s for s in secrets if s.encode() in told] == []


def test_a_table_holds_no_formula() -> None:
    row = ResultRow(chapter="trial", item="=cmd()", quantity="@x")
    (read,) = csv.DictReader(io.StringIO(table([row])))
    assert read["item"].startswith("'=")
    assert read["quantity"].startswith("'@")


def test_rows_keep_their_numbers() -> None:
    rows = results_of(full()).rows
    assert json.loads(results_of(full()).to_json())["kind"] == "results"
    factor = next(r for r in rows if r.chapter == "calibration" and "true over shown" in r.quantity)
    assert factor.value == 1.64
    assert factor.verdict == "checked, not traceable"
    assert {"budget", "retest", "prediction", "comparison", "run"} <= {r.chapter for r in rows}
