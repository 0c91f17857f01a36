"""A retrofit proposed from a bench: kit in, outlook out. Physics is replaced by invented yields."""

import json
import re
from pathlib import Path

import numpy as np
import pytest

from counterproof.bench import Bench
from counterproof.cli.app import run
from counterproof.errors import UserError
from counterproof.kit import Instrument, Probe, Source, Tube
from counterproof.records import Outlook
from counterproof.retrofit.draws import Effects
from counterproof.workshop import retrofits, yields
from counterproof.workshop.retrofits import Asked, keep_outlook, propose_retrofit
from tests.retrofit.invented import LANTERN, SHEET

SOURCE = {
    "name": "caesium disc", "nuclide": "Cs-137", "activity": "37 kBq",
    "activity_uncertainty": "5 %", "reference_date": "2026-03-14", "form": "disc",
    "diameter_mm": 5.0, "cover": [{"material": "PMMA", "thickness_mm": 3.0}],
}  # fmt: skip


def invented_yields(tube, places=(), report=None):
    """Counts by the tube's size alone, so that no transport runs; filters take a tenth each."""
    scale = tube.length_mm.middle / 40.0 * 0.9 ** len(tube.filter)
    names = ["caesium", "background", *(f"E:{e:g}" for e in yields.SHOWN_KEV)]
    values = [scale, 0.1 * scale, *(scale for _ in yields.SHOWN_KEV)]
    for p in places:
        names += [f"photon:{p.key}", f"beta:{p.key}"]
        values += [scale * float(p.field.h10_usv_h[0]), 0.0]
    nominal = np.maximum(np.array(values), 1e-12)
    none = np.ones((0, nominal.size))
    effects = Effects(tuple(names), nominal, none, none, 0.03, np.full(nominal.size, 0.01))
    return yields.Yields(effects, {p.key: 0.0 for p in places}, 20.0, (), None)


@pytest.fixture
def bench(tmp_path, monkeypatch):
    monkeypatch.setattr(retrofits, "yields_of", invented_yields)
    with Bench.create(tmp_path / "b", "invented") as made:
        made.add(Instrument.model_validate(LANTERN))
        for name, length in (("own", 70), ("slim steel", 110)):
            made.add(Tube.model_validate({"name": name, "outer_diameter_mm": 10,
                                          "length_mm": length, "datasheet": SHEET}))  # fmt: skip
        made.add(Probe.model_validate({
            "name": "wand", "tube": "slim steel", "anode_resistor": "4.7 Mohm",
            "cable": {"kind": "RG-58", "length": "1 m", "rated": "1.4 kV"},
            "filter": [{"material": "Sn", "thickness_mm": 0.2}]}))  # fmt: skip
        made.add(Source.model_validate(SOURCE))
        yield made


def test_from_the_bench(bench):
    asked = Asked("Lantern", ("wand", "slim steel"), ("caesium disc@10 cm",), ("gain",))
    made = propose_retrofit(bench, asked)
    assert [c.name for c in made.candidates] == ["own", "wand", "slim steel"]
    assert [c.today for c in made.candidates] == [True, False, False]
    assert made.candidates[1].probe == "wand"
    assert "switch" in {c.key for c in made.candidates[1].checks}
    assert "switch" not in {c.key for c in made.candidates[2].checks}
    gains = [c.sources[0].gain.value for c in made.candidates[1:]]
    assert gains == pytest.approx([110 / 70 * 0.9, 110 / 70], rel=0.02)
    assert made.ranking[0].candidate == "slim steel"
    alone = propose_retrofit(bench, Asked("Lantern", ("wand",), ("caesium disc",)))
    assert any("Switch at own" in r.what for r in alone.plan.runs)
    keep_outlook(bench, made)
    keep_outlook(bench, made)
    assert bench.list(Outlook, "Lantern") == (made,) or bench.list(Outlook, "Lantern") == [made]


def test_command_prints_and_keeps(bench, capsys):
    folder = str(bench.folder)
    words = ["retrofit", folder, "-i", "Lantern", "--candidates", "wand, slim steel", "-s",
             "caesium disc", "--wish", "gain*2", "--range", "0.1..10"]  # fmt: skip
    assert run([*words, "--json"]) == 0
    record = json.loads(capsys.readouterr().out)
    assert record["kind"] == "outlook"
    assert record["range_usv_h"] == [0.1, 10.0]
    assert run(words) == 0
    printed = capsys.readouterr().out
    for part in ("slim steel", "best setting", "cannot be set", "min: "):
        assert part in printed


@pytest.mark.parametrize(
    ("change", "says"),
    [
        ({"candidates": ("spoon",)}, "spoon"),
        ({"candidates": ()}, "No candidate"),
        ({"instrument": "Lamp"}, "Lantern|Lamp"),
        ({"wishes": ("speed",)}, "speed"),
        ({"room": "90"}, "90"),
        ({"aim": "best"}, "best"),
        ({"range_usv_h": "0.1..20 kg"}, "kg"),
        ({"sources": ("caesium disc@1 mm",)}, None),
    ],
)
def test_bad_input_gets_a_sentence(bench, change, says):
    asked = Asked(**({"instrument": "Lantern", "candidates": ("wand",)} | change))
    if says is None:
        assert "left out" in " ".join(propose_retrofit(bench, asked).warnings)
        return
    with pytest.raises(UserError, match=says):
        propose_retrofit(bench, asked)


def test_filter_and_housing_lie_around_the_tube():
    tube = Tube.model_validate({"name": "t", "outer_diameter_mm": 10, "length_mm": 90})
    probe = Probe.model_validate({
        "name": "p", "tube": "t", "filter": [{"material": "Sn", "thickness_mm": 0.2}],
        "housing": {"wall": {"material": "PMMA", "thickness_mm": 2.0}, "open_fraction": 0.25},
    })  # fmt: skip
    layers = yields.in_probe(tube, probe).filter
    assert [(f.material, f.coverage) for f in layers] == [("Sn", 1.0), ("PMMA", 0.75)]
    assert yields.in_probe(tube, None) is tube


def test_the_library_example_of_the_page_runs(tmp_path, monkeypatch, capsys):
    page = (Path(__file__).parents[2] / "docs" / "retrofit.md").read_text(encoding="utf-8")
    (code,) = re.findall(r"```python\n(.*?)```", page, re.DOTALL)
    Instrument.model_validate(LANTERN).save(tmp_path / "lantern.toml")
    for name, file in (("own", "tube-lantern.toml"), ("slim steel", "tube-slim-steel.toml")):
        tube = {"name": name, "outer_diameter_mm": 10, "length_mm": 90, "datasheet": SHEET}
        Tube.model_validate(tube).save(tmp_path / file)
    monkeypatch.setattr(yields, "yields_of", invented_yields)
    monkeypatch.chdir(tmp_path)
    exec(compile(code, "retrofit.md", "exec"), {})
    assert "slim steel comes first" in capsys.readouterr().out


def test_every_figure_and_option_of_the_page_exists():
    from counterproof.retrofit.wishes import FIGURES

    page = (Path(__file__).parents[2] / "docs" / "retrofit.md").read_text(encoding="utf-8")
    for figure in FIGURES:
        assert f"`{figure}`" in page
