"""The dossier: what was found, written so that a layman can read and an expert can check it.

What to use when: :func:`build_html` turns a :class:`~counterproof.records.Publication` into one
self-contained HTML file. Nothing is computed here, and nothing is loaded from anywhere.
"""

from counterproof.dossier.html import build_html

__all__ = ["build_html"]
