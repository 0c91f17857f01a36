"""Draw a chart record: points, lines, intervals, histograms and strips."""

from __future__ import annotations

import textwrap
from typing import TYPE_CHECKING, Any, cast

from counterproof.charts.theme import FAINT, MARKS, SERIES, config, font_folder, inked

if TYPE_CHECKING:
    import altair as alt

    from counterproof.records import Chart, Series

WIDTH, HEIGHT = 560, 300
LINE_HEIGHT = 15
LABEL = 44
"""Letters in a line of a row's label; what is longer goes on in the next line."""


def _lines_of(label: str, letters: int) -> str:
    return "\n".join(textwrap.wrap(label, letters, break_long_words=False)) or label


def _rows(chart: Chart, letters: int) -> list[dict[str, Any]]:
    rows: list[dict[str, Any]] = []
    for series in chart.series:
        for i, (x, y) in enumerate(zip(series.x, series.y, strict=True)):
            row: dict[str, Any] = {"series": series.name, "role": series.role, "x": x, "y": y}
            if series.low:
                row["low"], row["high"] = series.low[i], series.high[i]
            if series.labels:
                row["label"] = _lines_of(series.labels[i], letters)
            rows.append(row)
    return rows


def _with_bounds(series: Series) -> bool:
    return bool(series.low) and bool(series.high)


def specification(
    chart: Chart, width: int = WIDTH, height: int = HEIGHT, letters: int = LABEL
) -> alt.LayerChart:
    """Return the Altair chart of a record.

    Args:
        chart: the data and the titles.
        width: width of the plotting area in pixels.
        height: height of the plotting area in pixels; charts by label take what their rows need.
        letters: of a row's label in one line.
    """
    import altair as alt

    rows = _rows(chart, letters)
    data: Any = alt.InlineData(values=rows)
    names = [s.name for s in chart.series]
    colour = alt.Color(
        "series:N",
        sort=names,
        scale=alt.Scale(domain=names, range=[SERIES[i % len(SERIES)] for i in range(len(names))]),
        legend=None if len(names) < 2 else alt.Legend(symbolOpacity=1),
    )
    shape = alt.Shape(
        "series:N",
        sort=names,
        scale=alt.Scale(domain=names, range=[MARKS[i % len(MARKS)] for i in range(len(names))]),
        legend=None if len(names) < 2 else alt.Legend(symbolOpacity=1),
    )
    base = alt.Chart(data).encode(color=colour)
    layers = _BY_FORM[chart.form](chart, base, shape)
    if chart.form == "intervals":
        labels = {row["label"] for row in rows if "label" in row}
        lines = max((label.count("\n") + 1 for label in labels), default=1)
        height = max(34, LINE_HEIGHT * lines + 8) * max(len(labels), 1) + 12
    layers = _references(chart) + layers
    drawn = alt.layer(*layers).properties(width=width, height=height).configure(**config())
    return cast("alt.LayerChart", drawn)


def _axis(chart: Chart, name: str) -> Any:
    import altair as alt

    log = chart.log_x if name == "x" else chart.log_y
    title = chart.x_title if name == "x" else chart.y_title
    kind = alt.X if name == "x" else alt.Y
    if log:
        scale = alt.Scale(type="log", padding=10)
    elif chart.form in ("strip", "histogram"):
        # counts and rates start at zero, and time fills the width
        scale = alt.Scale(zero=name == "y", nice=name == "y")
    else:
        scale = alt.Scale(zero=False, padding=10)
    axis = alt.Axis(grid=name == "y", gridOpacity=_grid_ink(log), tickCount=6, labelFlush=False)
    return kind(f"{name}:Q", title=title, scale=scale, axis=axis)


def _grid_ink(log: bool) -> Any:
    """On a logarithmic axis the decades stand out; lines between them are faint."""
    if not log:
        return 1
    exponent = "log(datum.value) / LN10"
    decade = f"abs({exponent} - round({exponent})) < 1e-6"
    return {"condition": {"test": decade, "value": 1}, "value": 0.3}


def _points(chart: Chart, base: Any, shape: Any) -> list[Any]:
    import altair as alt

    layers = []
    if any(_with_bounds(s) for s in chart.series):
        layers.append(
            base.mark_rule(strokeWidth=1.5).encode(
                x=_axis(chart, "x"), y=alt.Y("low:Q", title=chart.y_title), y2="high:Q"
            )
        )
    layers.append(
        base.mark_point(filled=True, size=60, opacity=1).encode(
            x=_axis(chart, "x"), y=_axis(chart, "y"), shape=shape
        )
    )
    return layers


def _lines(chart: Chart, base: Any, shape: Any) -> list[Any]:
    import altair as alt

    measured = alt.datum.role == "measured"
    layers = []
    if any(_with_bounds(s) for s in chart.series):
        layers.append(
            base.mark_area(opacity=0.18)
            .transform_filter(~measured)
            .encode(x=_axis(chart, "x"), y=alt.Y("low:Q", title=chart.y_title), y2="high:Q")
        )
        layers.append(
            base.mark_rule(strokeWidth=1.5)
            .transform_filter(measured)
            .encode(x=_axis(chart, "x"), y="low:Q", y2="high:Q")
        )
    layers.append(
        base.mark_line(strokeWidth=2)
        .transform_filter(~measured)
        .encode(x=_axis(chart, "x"), y=_axis(chart, "y"))
    )
    layers.append(
        base.mark_point(filled=True, size=60, opacity=1)
        .transform_filter(measured)
        .encode(x=_axis(chart, "x"), y=_axis(chart, "y"), shape=shape)
    )
    return layers


def _strip(chart: Chart, base: Any, shape: Any) -> list[Any]:
    import altair as alt

    layers = []
    if any(_with_bounds(s) for s in chart.series):
        layers.append(
            base.mark_area(opacity=0.22, interpolate="step-after").encode(
                x=_axis(chart, "x"), y=alt.Y("low:Q", title=chart.y_title), y2="high:Q"
            )
        )
    layers.append(
        base.mark_line(strokeWidth=1.6, interpolate="step-after").encode(
            x=_axis(chart, "x"), y=_axis(chart, "y")
        )
    )
    return layers


def _histogram(chart: Chart, base: Any, shape: Any) -> list[Any]:
    import altair as alt

    measured = alt.datum.role == "measured"
    bars = (
        base.mark_bar(opacity=0.55, binSpacing=1)
        .transform_filter(measured)
        .encode(
            x=alt.X("low:Q", title=chart.x_title, scale=alt.Scale(zero=False, nice=False)),
            x2="high:Q",
            y=_axis(chart, "y"),
            y2=alt.datum(0),
        )
    )
    line = (
        base.mark_line(strokeWidth=2)
        .transform_filter(~measured)
        .encode(x=_axis(chart, "x"), y=_axis(chart, "y"))
    )
    return [bars, line]


def _intervals(chart: Chart, base: Any, shape: Any) -> list[Any]:
    """Values by label, each with its interval: what a table of ratios looks like."""
    import altair as alt

    order = list(dict.fromkeys(r["label"] for r in base.data.values if "label" in r))
    names = [s.name for s in chart.series]
    rows = alt.Y(
        "label:N",
        sort=order,
        title=None,
        axis=alt.Axis(
            grid=False,
            ticks=False,
            labelExpr="split(datum.label, '\\n')",
            labelOffset=_centred(max((label.count("\n") for label in order), default=0)),
        ),
    )
    offset = {"yOffset": alt.YOffset("series:N", sort=names)} if len(names) > 1 else {}
    scale = alt.Scale(type="log" if chart.log_x else "linear", zero=False, padding=10)
    x = alt.X(
        "y:Q",
        title=chart.y_title,
        scale=scale,
        axis=alt.Axis(tickCount=6, gridOpacity=_grid_ink(chart.log_x)),
    )
    return [
        base.mark_rule(strokeWidth=2).encode(
            x=alt.X("low:Q", title=chart.y_title, scale=scale), x2="high:Q", y=rows, **offset
        ),
        base.mark_point(filled=True, size=70, opacity=1).encode(x=x, y=rows, shape=shape, **offset),
    ]


def _centred(most: int) -> Any:
    """Raise labels of several lines, which the renderer hangs from their first, to the middle."""
    if not most:
        return 0
    tests = [
        {"test": f"length(split(datum.value, '\\n')) == {n + 1}", "value": -LINE_HEIGHT * n / 2}
        for n in range(1, most + 1)
    ]
    return {"condition": tests, "value": 0}


def _references(chart: Chart) -> list[Any]:
    """Shaded ranges, lines of the criterion or of perfect agreement, behind the data."""
    import altair as alt

    layers = []
    for shade in chart.shades:
        ends: Any = alt.InlineData(values=[{"low": shade.low, "high": shade.high}])
        near = alt.X("low:Q") if shade.axis == "x" else alt.Y("low:Q")
        far = alt.X2("high:Q") if shade.axis == "x" else alt.Y2("high:Q")
        drawn = alt.Chart(ends).mark_rect(color=FAINT, opacity=0.16)
        layers.append(drawn.encode(**{shade.axis: near, f"{shade.axis}2": far}))
    for mark in chart.marks:
        along = "x" if mark.axis == "x" else "y"
        data: Any = alt.InlineData(values=[{"at": mark.at}])
        channel = alt.X("at:Q") if along == "x" else alt.Y("at:Q")
        dash = [4, 3] if mark.dashed else [1, 0]
        layers.append(
            alt.Chart(data).mark_rule(color=FAINT, strokeDash=dash).encode(**{along: channel})
        )
    return layers


_BY_FORM = {
    "points": _points,
    "lines": _lines,
    "strip": _strip,
    "histogram": _histogram,
    "intervals": _intervals,
}


def register_font() -> None:
    """Let the renderer find the font that charts are set in."""
    import vl_convert

    vl_convert.register_font_directory(font_folder())


def svg(chart: Chart, width: int = WIDTH, height: int = HEIGHT, for_page: bool = True) -> str:
    """Return the chart as SVG text.

    Args:
        chart: what to draw.
        width: width of the plotting area in pixels.
        height: height of the plotting area in pixels.
        for_page: let the ink take the page's colours; otherwise it is dark on nothing (print).
    """
    import vl_convert

    register_font()
    drawn: str = vl_convert.vegalite_to_svg(specification(chart, width, height).to_dict())
    return inked(drawn) if for_page else drawn


def png(chart: Chart, width: int = WIDTH, height: int = HEIGHT, scale: float = 2.0) -> bytes:
    """Return the chart as a PNG picture on paper, ``scale`` times the size."""
    import vl_convert

    register_font()
    spec = specification(chart, width, height).to_dict()
    spec["background"] = "#ffffff"
    picture: bytes = vl_convert.vegalite_to_png(spec, scale=scale)
    return picture
