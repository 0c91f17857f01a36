"""Write a dossier: the page for people, its content as JSON for machines."""

from __future__ import annotations

from pathlib import Path

from counterproof.dossier.html import build_html
from counterproof.records import Publication
from counterproof.signals.safefile import atomic_write


def write_dossier(content: Publication, target: Path) -> None:
    """Write ``target`` and, beside it, the same name with ``.json``.

    Raises:
        UserError: if the folder cannot be written or the disk is full; what stood there is kept.
    """
    page = build_html(content)
    for path, written in ((target, page), (target.with_suffix(".json"), content.to_json() + "\n")):
        with atomic_write(path) as stream:
            stream.write(written.encode("utf-8"))
