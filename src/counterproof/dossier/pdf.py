"""Build the dossier as PDF: the same chapters as the page, set for A4; and cards for the pocket."""

from __future__ import annotations

import base64
from collections.abc import Iterator, Sequence
from importlib.resources import files
from pathlib import Path
from tempfile import TemporaryDirectory

from counterproof.charts import svg
from counterproof.charts.theme import font_folder
from counterproof.dossier import shown, sketch
from counterproof.dossier.blocks import Card, Chapter, Drawings, Figure, Picture
from counterproof.dossier.chapters import chapters_of
from counterproof.dossier.shown import Grid
from counterproof.records import Publication
from counterproof.texts import text


def _literal(words: object) -> str:
    """Return words as a typst string, in which nothing is markup."""
    plain = str(words).replace("\\", "\\\\").replace('"', '\\"').replace("\n", " ")
    return f'"{plain}"'


def _place(chapter: int, block: int) -> str:
    return f"figure-{chapter}-{block}"


def _widths(grid: Grid) -> str:
    """Columns share the room by the longest words and the amount of text that they hold."""
    shares = []
    for number, column in enumerate(grid.columns):
        cells = [column, *(row[number] for row in grid.rows)]
        longest = max((len(word) for cell in cells for word in cell.split(" ")), default=1)
        typical = max(len(cell) for cell in cells) ** 0.6
        shares.append(max(longest, typical, 3.0))
    return f"({', '.join(f'{s:.1f}fr' for s in shares)},)"


def _is_sums(grid: Grid) -> bool:
    return len(grid.columns) == 3 and any(len(row[2]) == 64 for row in grid.rows)


def _card(card: Card) -> str:
    """Return a card of 85 mm × 54 mm, the size of a bank card, with a line to cut along."""
    rows = ", ".join(
        f"text(fill: luma(80), {_literal(what)}), {_literal(fact)}" for what, fact in card.lines
    )
    return (
        "#block(breakable: false, width: 85.6mm, height: 54mm, inset: 3.5mm, radius: 3mm, "
        'clip: true, stroke: (paint: luma(120), thickness: 0.5pt, dash: "dashed"))['
        "#set text(size: 8.2pt); #set par(leading: 0.4em, spacing: 0.5em); "
        "#show table: set text(size: 7.8pt); "
        "#set table(inset: (x: 1.5pt, y: 2.4pt)); "
        f"*#{_literal(card.title)}* #table(columns: (34%, 1fr), {rows}) "
        f"#text(size: 6.4pt, fill: luma(60))[#{_literal(card.foot)}]]"
    )


def _pictures(chapters: Sequence[Chapter]) -> Iterator[tuple[str, bytes]]:
    """Files that the typst source names."""
    for i, chapter in enumerate(chapters):
        for j, block in enumerate(chapter.blocks):
            name = _place(i, j)
            if isinstance(block, Figure):
                yield f"{name}.svg", svg(block.chart, for_page=False).encode()
            elif isinstance(block, Drawings):
                for k, each in enumerate(block.sketches):
                    yield f"{name}-{k}.svg", sketch.drawing(each, for_page=False).encode()
            elif isinstance(block, Picture):
                suffix = "png" if block.photo.media == "image/png" else "jpg"
                yield f"{name}.{suffix}", base64.b64decode(block.photo.data)


def _compiled(source: str, pictures: Iterator[tuple[str, bytes]]) -> bytes:
    import typst

    with TemporaryDirectory() as scratch:
        folder = Path(scratch)
        (folder / "page.typ").write_text(source, encoding="utf-8")
        for name, content in pictures:
            (folder / name).write_bytes(content)
        made: bytes = typst.compile(
            str(folder / "page.typ"), font_paths=[font_folder()], ignore_system_fonts=True
        )
    return made


def build_pdf(publication: Publication) -> bytes:
    """Return the dossier as PDF.

    The same publication gives the same bytes.
    """
    import jinja2

    environment = jinja2.Environment(
        undefined=jinja2.StrictUndefined, trim_blocks=True, lstrip_blocks=True
    )
    environment.filters["lit"] = _literal
    environment.filters |= shown.FILTERS
    source = files(__package__).joinpath("page.typ.j2").read_text(encoding="utf-8")
    chapters = chapters_of(publication)
    written = environment.from_string(source).render(
        p=publication,
        chapters=chapters,
        t=lambda key, **names: text(f"dossier.{key}", **names),
        place=_place,
        widths=_widths,
        is_sums=_is_sums,
        caption=sketch.caption,
        card=_card,
    )
    return _compiled(written, _pictures(chapters))


def build_cards(cards: Sequence[Card], title: str, stamp: Publication) -> bytes:
    """Return correction cards as PDF, eight to a page of A4, to be cut out."""
    when = stamp.built_utc
    date = ", ".join(
        f"{k}: {getattr(when, k)}" for k in ("year", "month", "day", "hour", "minute", "second")
    )
    head = (
        f"#set document(title: {_literal(title)}, date: datetime({date}))\n"
        '#set page(paper: "a4", margin: 15mm)\n#set text(font: "Proof Serif", lang: "en")\n'
        "#set table(stroke: (x, y) => (bottom: 0.3pt + luma(200)), align: left + top)\n"
    )
    body = ", ".join(f"[{_card(c)}]" for c in cards)
    return _compiled(f"{head}#grid(columns: (auto, auto), gutter: 4mm, {body})\n", iter(()))
