"""Chart records that several trials share; the charts room draws them."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Literal

import numpy as np

from counterproof.counting.poisson import rate_limits
from counterproof.quantities import Estimate
from counterproof.records import Chart, Criterion, Mark, Series
from counterproof.signals.trains import PulseTrain
from counterproof.texts import text

STRIP_POINTS = 60


def agreement_chart(
    question: str, values: Sequence[tuple[str, Estimate]], unit: str, series: str = ""
) -> Chart:
    """Values by label with their intervals."""
    return Chart(
        question=question,
        x_title="",
        y_title=unit,
        form="intervals",
        series=(_labelled(series, values),),
    )


def ratio_chart(
    question: str,
    groups: Sequence[tuple[str, Sequence[tuple[str, Estimate]]]],
    title: str,
    criterion: Criterion | None,
) -> Chart:
    """Ratios by label, one series per group, with the criterion's bounds and 1 behind them."""
    return Chart(
        question=question,
        x_title="",
        y_title=title,
        form="intervals",
        series=tuple(_labelled(name, values) for name, values in groups),
        marks=ratio_marks(criterion, "x"),
    )


def ratio_marks(criterion: Criterion | None, axis: Literal["x", "y"]) -> tuple[Mark, ...]:
    """Lines behind ratios: 1, and the criterion's bounds."""
    bounds = [b for b in (criterion.low, criterion.high) if b] if criterion else []
    return (Mark(axis=axis, at=1.0, dashed=False), *(Mark(axis=axis, at=b) for b in bounds))


def _labelled(name: str, values: Sequence[tuple[str, Estimate]]) -> Series:
    return Series(
        name=name,
        x=tuple(None for _ in values),
        y=tuple(e.value for _, e in values),
        low=tuple(e.low for _, e in values),
        high=tuple(e.high for _, e in values),
        labels=tuple(label for label, _ in values),
    )


def rate_strip(question: str, name: str, train: PulseTrain) -> Chart:
    """Rate against time in equal stretches with their exact 95 % limits."""
    k = int(np.clip(train.count // 8, 4, STRIP_POINTS))
    edges = np.linspace(0.0, train.duration_s, k + 1)
    counts = np.histogram(train.times_s, edges)[0]
    step = float(edges[1] - edges[0])
    low, high = rate_limits(counts, step)
    minutes = edges / 60.0
    rate = counts / step

    def held(values: np.ndarray) -> tuple[float, ...]:
        return (*(float(v) for v in values), float(values[-1]))

    return Chart(
        question=question,
        x_title=text("trials.axis_minutes"),
        y_title=text("trials.axis_rate"),
        form="strip",
        series=(
            Series(
                name=name,
                x=tuple(float(m) for m in minutes),
                y=held(rate),
                low=held(low),
                high=held(high),
            ),
        ),
    )


def interval_chart(question: str, name: str, train: PulseTrain) -> Chart:
    """Histogram of the intervals between pulses beside the exponential of random events."""
    gaps = np.diff(train.times_s)
    top = float(np.quantile(gaps, 0.99))
    edges = np.linspace(0.0, top, 31)
    counts = np.histogram(gaps, edges)[0]
    middle = 0.5 * (edges[1:] + edges[:-1])
    dead = train.resolving_time_s
    mean = max(float(gaps.mean()) - dead, 1e-12)
    at = np.linspace(dead, top, 80)
    density = gaps.size * (edges[1] - edges[0]) / mean * np.exp(-(at - dead) / mean)
    return Chart(
        question=question,
        x_title=text("trials.axis_interval"),
        y_title=text("trials.axis_intervals"),
        form="histogram",
        series=(
            Series(
                name=name,
                x=tuple(float(m) for m in middle),
                y=tuple(float(c) for c in counts),
                low=tuple(float(e) for e in edges[:-1]),
                high=tuple(float(e) for e in edges[1:]),
            ),
            Series(
                name=text("trials.exponential"),
                role="expected",
                x=tuple(float(a) for a in at),
                y=tuple(float(d) for d in density),
            ),
        ),
    )
