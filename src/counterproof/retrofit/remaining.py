"""What to enter in the menu, and what stays wrong whatever is entered, as records."""

from __future__ import annotations

import math

import numpy as np

from counterproof.readout import ReadoutModel
from counterproof.records import Measured
from counterproof.records.outlook import SettingOutlook, Uncorrectable
from counterproof.retrofit import display
from counterproof.retrofit.box import Box
from counterproof.retrofit.draws import estimate_of
from counterproof.texts import text


def settings_of(best: display.BestSettings, counted: display.Counted) -> tuple[SettingOutlook, ...]:
    """Settings with the interval that the tube's uncertainty leaves to each factor."""
    spread = counted.per_usv_h / np.median(counted.per_usv_h)
    out = []
    for item, value in best.values:
        scale = spread if item.what == "factor" else np.ones(1)
        low, high = np.quantile(scale, [0.025, 0.975]) * value
        u = float(np.std(scale)) * value
        out.append(
            SettingOutlook(
                name=item.name,
                unit=item.unit,
                applies=text(f"retrofit.applies.{_where(item.ranges, best.firmware)}"),
                present=item.present,
                best=Measured(value=value, low=float(low), high=float(high), u=u),
                bound=item.name in best.bound,
            )
        )
    return tuple(out)


def _where(ranges: tuple[int, ...], firmware: ReadoutModel) -> str:
    count = len(firmware.factors_cpm_per_usv_h)
    if len(ranges) == count:
        return "all"
    return "below" if ranges[0] == 0 else "above"


def uncorrectable(
    box: Box, firmware: ReadoutModel, counted: display.Counted, range_usv_h: tuple[float, float]
) -> tuple[Uncorrectable, ...]:
    """Ranges of true dose rate whose factor nothing sets, with the error that stays."""
    ends = display.range_ends_usv_h(firmware, counted)
    out = []
    for r in box.fixed:
        low = 0.0 if r == 0 else float(np.median(ends[r - 1]))
        high = float(np.median(ends[r]))
        first, last = max(low, range_usv_h[0]), min(high, range_usv_h[1])
        if first >= last:
            continue
        # one factor alone, so that the switch's scatter does not blur the error of the range
        alone = ReadoutModel(
            estimator=firmware.estimator,
            factors_cpm_per_usv_h=(firmware.factors_cpm_per_usv_h[r],),
            dead_time_s=firmware.dead_time_s,
            background_cpm=firmware.background_cpm,
        )
        errors = display.ratio_at(alone, counted, np.array([first, last])) - 1.0
        at = int(np.argmax(np.abs(np.median(errors, axis=0))))
        error = Measured.of(estimate_of(errors[:, at], ""))
        assert error.value is not None
        out.append(
            Uncorrectable(
                low_usv_h=low,
                high_usv_h=high if math.isfinite(high) else None,
                relative_error=error,
                statement=text(
                    "retrofit.uncorrectable",
                    low=f"{low:.2g}",
                    high=f"{high:.2g}" if math.isfinite(high) else "∞",
                    factor=f"{firmware.factors_cpm_per_usv_h[r]:.4g}",
                    percent=f"{100 * error.value:+.0f}".replace("-", "−"),
                ),
            )
        )
    return tuple(out)
