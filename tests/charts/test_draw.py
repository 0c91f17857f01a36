"""Charts are drawn from records alone, offline, and take the page's ink."""

import pytest

from counterproof.charts import png, specification, svg
from counterproof.records import Chart, Mark, Series

X = tuple(float(i) for i in range(6))


def chart(form: str) -> Chart:
    labels = tuple("abcdef")
    first = Series(
        name="Lantern",
        x=X,
        y=(1.0, 2.0, 3.0, 2.0, 1.0, 2.0),
        low=(0.5, 1.5, 2.5, 1.5, 0.5, 1.5),
        high=(1.5, 2.5, 3.5, 2.5, 1.5, 2.5),
        labels=labels if form == "intervals" else (),
    )
    second = Series(name="expected", role="expected", x=X, y=(2.0,) * 6, labels=first.labels)
    return Chart(
        question="Is it so?",
        x_title="time in min",
        y_title="rate in s⁻¹",
        form=form,  # type: ignore[arg-type]
        series=(first, second),
        marks=(Mark(axis="y", at=1.0),),
    )


@pytest.mark.parametrize("form", ["points", "lines", "strip", "histogram", "intervals"])
def test_every_form_is_drawn(form: str) -> None:
    drawn = svg(chart(form))
    assert drawn.startswith("<svg")
    assert "rate in s⁻¹" in drawn
    assert "Lantern" in drawn
    assert "var(--ink)" in drawn
    assert "#1d1b17" not in drawn
    assert "http" not in drawn.replace("http://www.w3.org", "")


def test_print_keeps_dark_ink() -> None:
    assert "var(--" not in svg(chart("points"), for_page=False)


def test_the_same_chart_gives_the_same_picture() -> None:
    assert svg(chart("lines")) == svg(chart("lines"))


def test_png_is_a_png() -> None:
    assert png(chart("points"))[:8] == b"\x89PNG\r\n\x1a\n"


def test_missing_values_leave_gaps() -> None:
    gap = Chart(
        question="?",
        x_title="x",
        y_title="y",
        series=(Series(name="a", x=(0.0, 1.0), y=(1.0, float("nan"))),),
    )
    assert gap.series[0].y[1] is None
    assert svg(gap)


def test_charts_by_label_grow_with_their_rows() -> None:
    few = specification(chart("intervals")).to_dict()
    assert few["height"] == 34 * 6 + 12


def test_a_long_label_is_told_whole_in_lines_that_stay_apart() -> None:
    long = "dose-rate ladder: net indication of Lantern over the true 1.340 µSv/h at 50 mm"
    labels = (long, long.replace("50 mm", "30 mm"), "short")
    series = Series(name="a", x=(None,) * 3, y=(1.0, 2.0, 3.0), labels=labels)
    chart = Chart(question="q", x_title="", y_title="y", form="intervals", series=(series,))
    drawn = svg(chart)
    assert "…" not in drawn
    for words in ("1.340 µSv/h at 50 mm", "1.340 µSv/h at 30 mm", "short"):
        assert words in drawn
