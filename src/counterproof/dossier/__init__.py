"""The dossier: what was found, written so that a layman can read and an expert can check it.

What to use when: :func:`build_html` turns a :class:`~counterproof.records.Publication` into one
self-contained HTML page, :func:`write_dossier` writes it with its content as JSON beside it.
Nothing is computed here, and nothing is loaded from anywhere.
"""

from counterproof.dossier.html import build_html
from counterproof.dossier.writing import write_dossier

__all__ = ["build_html", "write_dossier"]
