"""The filter command by the transport itself: one metal, one sleeve."""

import json

import pytest

from counterproof.cli.app import run
from counterproof.kit import Tube

BARE = Tube.model_validate(
    {"name": "bare", "outer_diameter_mm": 9.2, "length_mm": 90,
     "wall": {"material": "stainless steel", "thickness_mm": 0.1},
     "gas": {"pressure_kpa": 25, "length_mm": 80}}
)  # fmt: skip


@pytest.fixture
def tube(tmp_path):
    path = tmp_path / "bare.toml"
    BARE.save(path)
    return str(path)


def test_tin_tames_a_bare_tube(tube, capsys):
    words = ["filter", tube, "-m", "tin", "--layers", "1", "--band", "40"]
    assert run([*words, "--json"]) == 0
    found = json.loads(capsys.readouterr().out)
    # common practice, no source: several-fold over-reading, tamed by a tin sleeve
    assert found["bare_departure"] > 3.0
    assert found["met"]
    assert abs(found["departure"]["value"] - 1.0) <= 0.40
    assert found["kept"]["value"] > 0.5
    assert [x["material"] for x in found["layers"]] == ["tin"]
    assert 0.0 < found["open_fraction"] < 0.4
    assert 0.0 <= found["within_band"] <= 1.0


def test_what_one_metal_cannot_do_is_said(tube, capsys):
    assert run(["filter", tube, "-m", "aluminium", "--layers", "1"]) == 0
    assert "no foil in stock does better" in " ".join(capsys.readouterr().out.split())


@pytest.mark.parametrize(
    ("words", "says"),
    [(["-m", "gold"], "gold"), (["--band", "150"], "band"), (["--from", "5"], "keV"),
     (["--to", "600"], "keV")],
)  # fmt: skip
def test_bad_input_gets_a_sentence(tube, words, says, capsys):
    assert run(["filter", tube, *words]) == 2
    assert says in capsys.readouterr().err
