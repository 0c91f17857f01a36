"""A bench that is worked from the command line."""

import json
from pathlib import Path

import pytest

from counterproof.cli import app as frame

LANTERN = """
[instrument]
name = "Lantern"
role = "under test"
[[instrument.display]]
quantity = "dose_rate"
unit = "µSv/h"
quantum = 0.01
window_s = 40
"""
WREN = """
[instrument]
name = "Wren"
role = "reference"
[[instrument.calibration]]
sensitivity = "150 cpm/(µSv/h)"
nuclide = "Cs-137"
uncertainty = "3 %"
source = "invented"
"""


class Bench:
    """A bench worked from the command line."""

    def __init__(self, folder: Path, capsys: pytest.CaptureFixture[str]) -> None:
        self.folder = folder
        self._capsys = capsys

    def __call__(self, *arguments: str, code: int = 0) -> str:
        given = [*arguments]
        assert frame.run(given) == code, self._capsys.readouterr().err
        told = self._capsys.readouterr()
        if code:
            assert len(told.err.strip().splitlines()) == 1, told.err
            return told.err
        return told.out

    def json(self, *arguments: str) -> dict:  # type: ignore[type-arg]
        found: dict = json.loads(self(*arguments, "--json"))  # type: ignore[type-arg]
        return found


@pytest.fixture
def bench(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> Bench:
    folder = tmp_path / "bench"
    monkeypatch.setenv("COUNTERPROOF_LOG_FOLDER", str(tmp_path / "log"))
    monkeypatch.setenv("COUNTERPROOF_BENCH", str(folder))
    monkeypatch.setenv("COLUMNS", "160")
    work = Bench(folder, capsys)
    work("bench", "create", str(folder), "--name", "Hollow Lane (invented)")
    for name, described in (("lantern", LANTERN), ("wren", WREN)):
        (tmp_path / f"{name}.toml").write_text(described)
        work("kit", "add", str(tmp_path / f"{name}.toml"))
    return work
