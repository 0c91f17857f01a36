"""Charts: one picture per question, the same on a page, in the dossier and in a notebook.

What to use when: :func:`svg` for a picture in a page or file, :func:`png` for a screen that cannot
show SVG, :func:`specification` for a notebook, :func:`csv` for the numbers alone. All take a
:class:`counterproof.records.Chart`, which an analysis filled; nothing is computed here.
"""

from counterproof.charts.draw import png, specification, svg
from counterproof.charts.table import csv

__all__ = ["csv", "png", "specification", "svg"]
