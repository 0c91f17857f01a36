"""Paper and ink: the look that every chart shares.

Series colours are those of Okabe and Ito, "Color Universal Design" (2008), which people with the
common kinds of colour blindness tell apart; each series also has a mark of its own. The ink and
grid colours are stand-ins that :func:`inked` replaces by the page's own, so that one picture
serves light and dark pages.
"""

from __future__ import annotations

from importlib.resources import files
from typing import Any

FONT = "Proof Serif"
INK = "#1d1b17"
FAINT = "#8a8478"
RULE = "#ddd6c8"
PAPER = "#fbf9f3"
SERIES = ("#0072b2", "#d55e00", "#009e73", "#cc79a7", "#e69f00", "#56b4e9", "#5b5b5b")
MARKS = ("circle", "square", "triangle-up", "diamond", "cross", "triangle-down", "stroke")

_VARIABLES = {INK: "var(--ink)", FAINT: "var(--faint)", RULE: "var(--rule)"}


def font_folder() -> str:
    """Return the folder of the font that charts are set in."""
    return str(files("counterproof.charts").joinpath("fonts"))


def config() -> dict[str, Any]:
    """Return the drawing configuration."""
    return {
        "font": FONT,
        "background": "transparent",
        "view": {"stroke": "transparent"},
        "axis": {
            "labelColor": INK,
            "titleColor": INK,
            "titleFontWeight": "normal",
            "titleFontSize": 14,
            "labelFontSize": 13,
            "domainColor": FAINT,
            "tickColor": FAINT,
            "gridColor": RULE,
            "labelLimit": 360,
        },
        "legend": {
            "labelColor": INK,
            "titleColor": INK,
            "labelFontSize": 13,
            "orient": "top",
            "title": None,
            "symbolStrokeWidth": 2,
            "labelLimit": 260,
        },
        "title": {"color": INK, "anchor": "start", "fontSize": 15, "fontWeight": "normal"},
        "range": {"category": list(SERIES)},
    }


def inked(svg: str) -> str:
    """Return an SVG whose ink takes the page's colours (CSS variables ink, faint, rule)."""
    for colour, variable in _VARIABLES.items():
        svg = svg.replace(colour, variable).replace(colour.upper(), variable)
    return svg
