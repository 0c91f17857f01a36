"""Charts of an outlook: display before and after, response over energy, what is traded for what."""

from __future__ import annotations

from collections.abc import Sequence

from counterproof.records import CandidateOutlook, Chart, Series
from counterproof.records.outcome import Mark, Shade
from counterproof.records.outlook import Ranked, Wish
from counterproof.retrofit.wishes import FIGURES, by_name
from counterproof.texts import text


def display_chart(c: CandidateOutlook, range_usv_h: tuple[float, float]) -> Chart:
    """Displayed over true dose rate, as it stands and with the best setting.

    What no setting can correct is shaded; the line is perfect agreement.
    """
    low, high = range_usv_h
    shades = [
        (max(u.low_usv_h or 0.0, low), high if u.high_usv_h is None else min(u.high_usv_h, high))
        for u in c.uncorrectable
    ]
    return Chart(
        question=text("retrofit.chart_display", name=c.name),
        x_title=text("retrofit.axis_true"),
        y_title=text("retrofit.axis_ratio"),
        series=c.display,
        form="lines",
        log_x=True,
        marks=(Mark(axis="y", at=1.0, dashed=False),),
        shades=tuple(Shade(axis="x", low=a, high=b) for a, b in shades if a < b),
    )


def energy_chart(found: Sequence[CandidateOutlook]) -> Chart:
    """Response over energy of every tube."""
    return Chart(
        question=text("retrofit.chart_energy"),
        x_title=text("tube.chart_energy"),
        y_title=text("tube.chart_relative"),
        series=tuple(c.energy for c in found),
        form="lines",
        log_x=True,
        log_y=all(v and v > 0.0 for c in found for v in (*c.energy.y, *c.energy.low)),
        marks=(Mark(axis="y", at=1.0, dashed=False),),
    )


def trade_chart(
    found: Sequence[CandidateOutlook], ranking: Sequence[Ranked], wishes: Sequence[Wish]
) -> Chart | None:
    """How many times better than today's tube each candidate is, wish by wish; nothing is added up.

    ``None`` without today's tube, or where no figure of both is known.
    """
    today = next((c for c in found if c.today), None)
    if today is None:
        return None
    series = []
    for r in ranking:
        c = by_name(found, r.candidate)
        if c.today:
            continue
        known = []
        for w in wishes:
            figure = FIGURES[w.key]
            now, then = figure.read(today), figure.read(c)
            if now and then and now > 0.0 and then > 0.0:
                better = then / now if figure.more_is_better else now / then
                known.append((text(f"retrofit.short.{w.key}"), better))
        if known:
            values = tuple(v for _, v in known)
            series.append(
                Series(
                    name=c.name, role="predicted", x=tuple(map(float, range(len(known)))),
                    y=values, low=values, high=values, labels=tuple(k for k, _ in known),
                )
            )  # fmt: skip
    if not series:
        return None
    return Chart(
        question=text("retrofit.chart_trade"),
        x_title="",
        y_title=text("retrofit.axis_better"),
        series=tuple(series),
        form="intervals",
        log_x=True,
        marks=(Mark(axis="x", at=1.0, dashed=False),),
    )


def charts_of(
    found: Sequence[CandidateOutlook],
    ranking: Sequence[Ranked],
    wishes: Sequence[Wish],
    range_usv_h: tuple[float, float],
) -> tuple[Chart, ...]:
    """Return the charts of an outlook: trade, the first candidate's display, energy."""
    first = next((r.candidate for r in ranking if not by_name(found, r.candidate).today), None)
    trade = trade_chart(found, ranking, wishes)
    charts = [trade] if trade is not None else []
    if first is not None:
        charts.append(display_chart(by_name(found, first), range_usv_h))
    charts.append(energy_chart(found))
    return tuple(charts)
