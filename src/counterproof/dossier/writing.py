"""Write a dossier: the page for people, its content as JSON for machines."""

from __future__ import annotations

from pathlib import Path

from counterproof.dossier.cards import cards_of
from counterproof.dossier.html import build_html
from counterproof.records import Publication
from counterproof.safefile import atomic_write


def write_dossier(content: Publication, target: Path, pdf: bool = False) -> None:
    """Write ``target`` and, beside it, the same name with ``.json`` and, if asked, ``.pdf``.

    With calibrations, correction cards to cut out lie beside the PDF (``…-cards.pdf``).

    Raises:
        UserError: if the folder cannot be written or the disk is full; what stood there is kept.
    """
    files = {
        target: build_html(content).encode("utf-8"),
        target.with_suffix(".json"): (content.to_json() + "\n").encode("utf-8"),
    }
    if pdf:
        from counterproof.dossier.pdf import build_cards, build_pdf

        files[target.with_suffix(".pdf")] = build_pdf(content)
        cards = cards_of(content.calibrations)
        if cards:
            beside = target.with_name(f"{target.stem}-cards.pdf")
            files[beside] = build_cards(cards, content.title, content)
    for path, written in files.items():
        with atomic_write(path) as stream:
            stream.write(written)
