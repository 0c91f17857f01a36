"""Build the dossier as one HTML file: styles, font and figures inside, nothing from outside."""

from __future__ import annotations

import base64
from functools import cache
from importlib.resources import files

from counterproof.charts import svg
from counterproof.dossier import shown, sketch
from counterproof.dossier.chapters import chapters_of
from counterproof.records import Chart, Publication
from counterproof.texts import text

_FACES = (("regular", 400, "normal"), ("bold", 700, "normal"), ("italic", 400, "italic"))


@cache
def _fonts() -> str:
    folder = files("counterproof.charts").joinpath("fonts")
    rules = []
    for name, weight, style in _FACES:
        data = base64.b64encode(folder.joinpath(f"proof-serif-{name}.woff2").read_bytes()).decode()
        rules.append(
            f"@font-face{{font-family:'Proof Serif';font-weight:{weight};font-style:{style};"
            f"src:url(data:font/woff2;base64,{data}) format('woff2')}}"
        )
    return "\n".join(rules)


def _figure(chart: Chart) -> str:
    """Return the picture with its title for those who hear the page."""
    drawn = svg(chart)
    start = drawn.index("<svg") + 4
    label = chart.question.replace("&", "&amp;").replace('"', "&quot;").replace("<", "&lt;")
    return f'{drawn[:start]} role="img" aria-label="{label}"{drawn[start:]}'


class _Regions:
    """Names for the regions of a page, each once: those who hear it tell them apart."""

    def __init__(self) -> None:
        self._used: dict[str, int] = {}

    def __call__(self, chapter: str, label: str) -> str:
        name = label if not chapter or label.startswith(chapter) else f"{chapter}: {label}"
        self._used[name] = self._used.get(name, 0) + 1
        return name if self._used[name] == 1 else f"{name} ({self._used[name]})"


def build_html(publication: Publication) -> str:
    """Return the dossier as a self-contained HTML page.

    The same publication gives the same page, byte for byte.
    """
    import jinja2

    room = files(__package__)
    environment = jinja2.Environment(
        autoescape=True, undefined=jinja2.StrictUndefined, trim_blocks=True, lstrip_blocks=True
    )
    environment.filters |= shown.FILTERS
    template = environment.from_string(room.joinpath("page.html.j2").read_text(encoding="utf-8"))
    return template.render(
        p=publication,
        chapters=chapters_of(publication),
        t=lambda key, **names: text(f"dossier.{key}", **names),
        style=room.joinpath("page.css").read_text(encoding="utf-8"),
        fonts=_fonts(),
        figure=_figure,
        sketch=sketch.drawing,
        caption=sketch.caption,
        region=_Regions(),
    )
