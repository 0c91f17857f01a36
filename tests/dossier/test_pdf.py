"""The PDF holds what the page holds, the same each time."""

import shutil
import subprocess
from pathlib import Path

import pytest

from counterproof.dossier.pdf import build_pdf
from counterproof.dossier.writing import write_dossier
from tests.dossier.full import full
from tests.dossier.test_html import publication


def test_the_same_content_gives_the_same_pdf() -> None:
    first = build_pdf(publication())
    assert first.startswith(b"%PDF")
    assert first == build_pdf(publication())


@pytest.mark.skipif(
    shutil.which("pdftotext") is None, reason="poppler's pdftotext is not installed"
)
def test_everything_stands_in_it(tmp_path: Path) -> None:
    path = tmp_path / "a.pdf"
    path.write_bytes(build_pdf(publication()))
    told = subprocess.run(
        ["pdftotext", "-layout", str(path), "-"], capture_output=True, text=True, check=True
    ).stdout
    for words in (
        "Lantern on the bench",
        "not met",
        "It shows 0.6 <of> what it should",
        "Does it & show?",
        "Two factors",
        "ab" * 32,
        "no photo",
    ):
        assert words in told, words


def test_words_are_never_markup() -> None:
    odd = publication().model_copy(update={"title": 'a "b" \\ #c $d$ *e* [f] @g // h'})
    assert build_pdf(odd).startswith(b"%PDF")


def test_the_files_lie_side_by_side(tmp_path: Path) -> None:
    write_dossier(publication(), tmp_path / "d.html", pdf=True)
    assert {p.name for p in tmp_path.iterdir()} == {"d.html", "d.json", "d.pdf"}


@pytest.mark.skipif(
    shutil.which("pdftotext") is None, reason="poppler's pdftotext is not installed"
)
def test_a_card_for_each_probe_lies_beside(tmp_path: Path) -> None:
    write_dossier(full(), tmp_path / "d.html", pdf=True)
    cards = tmp_path / "d-cards.pdf"
    told = subprocess.run(
        ["pdftotext", "-layout", str(cards), "-"], capture_output=True, text=True, check=True
    ).stdout
    assert "Lantern, its own tube" in told
    assert "Lantern, slim probe" in told
    assert told.count("set to 115 cpm/(µSv/h)") == 2
    assert told.count("checked, not traceable") == 2
    assert told.count("No protection instrument") == 2
