"""Build the dossier as PDF: the same content as the page, set for A4, figures as they are drawn."""

from __future__ import annotations

from importlib.resources import files
from pathlib import Path
from tempfile import TemporaryDirectory

from counterproof.charts import svg
from counterproof.charts.theme import font_folder
from counterproof.dossier import shown
from counterproof.records import Publication
from counterproof.texts import text


def _literal(words: object) -> str:
    """Return words as a typst string, in which nothing is markup."""
    plain = str(words).replace("\\", "\\\\").replace('"', '\\"').replace("\n", " ")
    return f'"{plain}"'


def build_pdf(publication: Publication) -> bytes:
    """Return the dossier as PDF.

    The same publication gives the same bytes.
    """
    import jinja2
    import typst

    environment = jinja2.Environment(
        undefined=jinja2.StrictUndefined, trim_blocks=True, lstrip_blocks=True
    )
    environment.filters["lit"] = _literal
    environment.filters |= shown.FILTERS
    source = files(__package__).joinpath("page.typ.j2").read_text(encoding="utf-8")
    written = environment.from_string(source).render(
        p=publication,
        t=lambda key, **names: text(f"dossier.{key}", **names),
        grids=shown.grids,
    )
    with TemporaryDirectory() as scratch:
        folder = Path(scratch)
        (folder / "page.typ").write_text(written, encoding="utf-8")
        for i, outcome in enumerate(publication.outcomes):
            for j, chart in enumerate(outcome.charts):
                picture = svg(chart, for_page=False)
                (folder / f"figure-{i}-{j}.svg").write_text(picture, encoding="utf-8")
        made: bytes = typst.compile(
            str(folder / "page.typ"), font_paths=[font_folder()], ignore_system_fonts=True
        )
    return made
