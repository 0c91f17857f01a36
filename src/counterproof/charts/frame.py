"""A chart for a video frame: 16:9, large type, on paper."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

from counterproof.charts.draw import register_font, specification
from counterproof.charts.theme import INK, PAPER

if TYPE_CHECKING:
    from counterproof.records import Chart

WIDTH, HEIGHT, SCALE = 960, 540, 2.0
_TYPE, _LARGE = 19, 26
_LETTERS, _FEW = 43, 7  # more rows than that are too low for labels of several lines


def frame(chart: Chart) -> bytes:
    """Return the chart as a PNG picture of 1920 × 1080 pixels.

    Its question stands above it; letters are at least 38 pixels high.
    """
    import vl_convert

    register_font()
    rows = {label for s in chart.series for label in s.labels}
    letters = _LETTERS if len(rows) <= _FEW else 10 * _LETTERS
    spec: dict[str, Any] = specification(chart, WIDTH, HEIGHT, letters).to_dict()
    spec |= {
        "width": WIDTH,
        "height": HEIGHT,
        "autosize": {"type": "fit", "contains": "padding"},
        "padding": 28,
        "background": PAPER,
        "title": {"text": chart.question, "fontSize": _LARGE, "color": INK, "offset": 18},
    }
    config = spec["config"]
    config["axis"] |= {
        "labelFontSize": _TYPE,
        "titleFontSize": _TYPE,
        "labelLimit": 460,
        "titlePadding": 10,
    }
    config["legend"] |= {"labelFontSize": _TYPE, "symbolSize": 160, "labelLimit": 420}
    config["point"] = {"size": 160}
    picture: bytes = vl_convert.vegalite_to_png(spec, scale=SCALE)
    return picture
