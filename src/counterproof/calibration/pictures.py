"""Charts of a calibration: what it answers as a picture."""

from __future__ import annotations

import math
from collections.abc import Sequence

import numpy as np

from counterproof.calibration.evidence import Gathered
from counterproof.calibration.fit import Fit
from counterproof.calibration.rows import band_of
from counterproof.records import Chart, Mark, Measured, Series
from counterproof.records.calibration import CalibrationLevel
from counterproof.texts import text

_K = 1.959964


def charts_of(main: Gathered, found: Fit, levels: Sequence[CalibrationLevel]) -> list[Chart]:
    """Return the correction chart (with a display) and how the levels fit together."""
    charts = []
    if main.signal == "display":
        charts.append(_correction(found, levels))
    charts.append(_residuals(found, levels))
    return charts


def _correction(found: Fit, levels: Sequence[CalibrationLevel]) -> Chart:
    """Factor N = true/reading over the reading."""
    known = [x for x in levels if x.factor is not None]
    measured = _series(text("calibration.chart_levels"), known, [x.factor for x in known])
    lines = []
    rates = [level.seen.rate for level in found.problem.levels]
    for number in range(2 if found.model == "two factors" else 1):
        inside = [r for r in rates if band_of(found, r) == number]
        if not inside:
            continue
        at = np.geomspace(min(inside) / 1.05, max(inside) * 1.05, 25)
        ln = [found.ln_s(number, _dose_at(found, r)) for r in at]
        lines.append(
            Series(
                name=text("calibration.chart_fit")
                if number == 0
                else text("calibration.chart_fit_above"),
                role="expected",
                x=tuple(float(r) for r in at),
                y=tuple(math.exp(-v) for v, _ in ln),
                low=tuple(math.exp(-v - _K * u) for v, u in ln),
                high=tuple(math.exp(-v + _K * u) for v, u in ln),
            )
        )
    return Chart(
        question=text("calibration.chart_correction"),
        x_title=text("calibration.axis_reading"),
        y_title=text("calibration.axis_factor"),
        form="lines",
        log_x=True,
        series=(measured, *lines),
        marks=(Mark(axis="y", at=1.0, dashed=False),),
    )


def _dose_at(found: Fit, reading: float) -> float:
    """True dose rate behind a reading, for the curve."""
    if found.model != "curve":
        return math.nan
    s0, slope = (float(v) for v in found.parameters[:2])
    # reading = exp(s0)·(x/x0)^slope·x, solved for x
    ln_x = (math.log(reading) - s0 + slope * math.log(found.x0_usv_h)) / (1.0 + slope)
    return math.exp(ln_x)


def _residuals(found: Fit, levels: Sequence[CalibrationLevel]) -> Chart:
    """Observed over fitted, level by level."""
    labels, y, low, high = [], [], [], []
    for i, level in enumerate(found.problem.levels):
        n = max(level.seen.counts, 1.0)
        # r = (n − µ)/√µ gives √µ by the quadratic µ + r·√µ − n = 0
        r = float(found.residuals[i])
        root = (-r + math.sqrt(r * r + 4.0 * n)) / 2.0
        ratio, u = n / root**2, 1.0 / root
        labels.append(level.label)
        y.append(ratio)
        low.append(ratio - _K * u)
        high.append(ratio + _K * u)
    series = Series(
        name=text("calibration.chart_levels"),
        x=tuple(None for _ in y),
        y=tuple(y),
        low=tuple(low),
        high=tuple(high),
        labels=tuple(labels),
    )
    return Chart(
        question=text("calibration.chart_residuals"),
        x_title="",
        y_title=text("calibration.axis_residual"),
        form="intervals",
        series=(series,),
        marks=(Mark(axis="x", at=1.0, dashed=False),),
    )


def _series(
    name: str, rows: Sequence[CalibrationLevel], values: Sequence[Measured | None]
) -> Series:
    known = [v for v in values if v is not None]
    return Series(
        name=name,
        x=tuple(r.shown.value for r in rows),
        y=tuple(v.value for v in known),
        low=tuple(v.low for v in known),
        high=tuple(v.high for v in known),
    )
