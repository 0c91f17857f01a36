import json
import math
from pathlib import Path

import pytest

from counterproof.cli.app import run

DISC = """
[source]
name = "caesium disc"
nuclide = "Cs-137"
activity = "9.2 kBq"
activity_uncertainty = "10 %"
reference_date = 2021-03-01
form = "disc"
diameter_mm = 5.0
cover = [{ material = "PMMA", thickness_mm = 0.5 }]
"""


@pytest.fixture(autouse=True)
def _own_log(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setenv("COUNTERPROOF_LOG_FOLDER", str(tmp_path / "log"))


@pytest.fixture
def disc(tmp_path: Path) -> Path:
    path = tmp_path / "disc.toml"
    path.write_text(DISC, encoding="utf-8")
    return path


def test_json(disc: Path, capsys: pytest.CaptureFixture[str]) -> None:
    assert run(["field", str(disc), "--distance", "10cm", "--date", "2026-03-01", "--json"]) == 0
    found = json.loads(capsys.readouterr().out)
    for key in ("air_kerma_ugy_h", "h10_usv_h", "h007_usv_h"):
        assert found[key]["value"] > 0.0
        assert found[key]["u"] > 0.09 * found[key]["value"]
    # 9.2 kBq × 0.8914 at 10 cm: 0.0754 µGy m²/(MBq h) × 1.203 Sv/Gy for the gamma line; by hand
    # the 32 and 36 keV X-rays add 1.7 % (0.071 × 33 keV × 0.124 cm²/g), cover and air take 0.6 %
    by_hand = 9.2 * 0.8914 * 0.00907 * 1.017 * 0.994
    assert found["h10_usv_h"]["value"] == pytest.approx(by_hand, rel=0.01)
    photons = found["photons"]
    line = sum(
        rate
        for energy, rate in zip(
            photons["energy_kev"], photons["fluence_rate_per_cm2_s"], strict=True
        )
        if abs(energy - 661.66) < 0.1
    )
    by_hand = 9200 * 0.8914 * 0.944 * 0.8974 / (4 * math.pi * 100) * math.exp(-0.0059)
    assert line == pytest.approx(by_hand, rel=5e-3)
    electrons = found["electrons"]
    assert len(electrons["energy_kev"]) == len(electrons["fluence_rate_per_cm2_s_kev"])
    assert max(electrons["energy_kev"]) < 1200.0
    assert found["cautions"]


def test_absorbers(disc: Path, capsys: pytest.CaptureFixture[str]) -> None:
    def dose(*extra: str) -> float:
        assert run(["field", str(disc), "--distance", "100 mm", "--json", *extra]) == 0
        return json.loads(capsys.readouterr().out)["h007_usv_h"]["value"]

    assert dose("--absorber", "PMMA 1 mm") < dose()
    assert dose("--absorber", "Al 300 mg/cm2", "--absorber", "PMMA 3 mm") < 1e-3 * dose()


def test_for_a_person(disc: Path, capsys: pytest.CaptureFixture[str]) -> None:
    assert run(["field", str(disc), "--distance", "10cm", "--date", "2026-03-01"]) == 0
    shown = capsys.readouterr().out
    assert "661.7" in shown
    assert "H*(10)" in shown
    assert "Never open" in shown


def test_charts(disc: Path, tmp_path: Path) -> None:
    target = tmp_path / "spectrum.svg"
    assert run(["field", str(disc), "--distance", "10cm", "--chart", str(target)]) == 0
    assert "<svg" in target.read_text(encoding="utf-8")
    assert (tmp_path / "spectrum-electrons.svg").exists()
    assert run(["field", str(disc), "--distance", "10cm", "--chart", "spectrum.txt"]) == 2


@pytest.mark.parametrize(
    ("arguments", "sentence"),
    [
        (["--distance", "0cm"], "distance"),
        (["--distance", "-5cm"], "distance"),
        (["--distance", "10cm", "--absorber", "PMMX 3 mm"], "PMMA"),
        (["--distance", "10cm", "--absorber", "PMMA -3 mm"], "negative"),
        (["--distance", "2cm", "--absorber", "PMMA 30 mm"], "do not fit"),
        (["--distance", "10cm", "--date", "2020-01-01"], "reference date"),
        (["--distance", "10cm", "--date", "yesterday"], "date"),
    ],
)
def test_mistakes_are_one_sentence(
    disc: Path, arguments: list[str], sentence: str, capsys: pytest.CaptureFixture[str]
) -> None:
    assert run(["field", str(disc), *arguments]) == 2
    said = capsys.readouterr().err.strip()
    assert sentence in said
    assert "\n" not in said


def test_a_mistyped_nuclide(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    path = tmp_path / "bad.toml"
    path.write_text(DISC.replace("Cs-137", "Cs-173"), encoding="utf-8")
    assert run(["field", str(path), "--distance", "10cm"]) == 2
    assert "Cs-137" in capsys.readouterr().err
