"""What the display will show over the true dose rate, which setting is best, what it cannot mend.

A counter's mean display near a switch of factors is neither one nor the other: the count rate
scatters, and with it the range in use. The mean is taken over that scatter (normal, of the
estimator's own width), which for a firmware without switch is no correction at all. Between the
two thresholds of a hysteresis the range depends on the past; the mean of both is taken.
"""

from __future__ import annotations

import itertools
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from counterproof.counting.deadtime import DeadTime, observed_rate
from counterproof.readout import (
    Estimator,
    Exponential,
    FixedCount,
    ReadoutModel,
    Switched,
    corrected_rate,
    range_of,
)
from counterproof.readout.menu import Aim, best_step, menu_values
from counterproof.retrofit.box import Box, MenuItem

Floats = NDArray[np.float64]
LOSS = 0.2
"""Share by which a reading may be off at the top of the range; common practice, no source."""
MOST_THRESHOLDS = 300
LEVELS = 41


@dataclass(frozen=True, eq=False)
class Counted:
    """What a tube counts in natural background with a caesium field on top; all (draws,) or scalar.

    Args:
        own_per_s: counts without any field.
        background_per_s: counts of the natural background.
        background_usv_h: its H*(10) rate.
        per_usv_h: counts per second per µSv/h of the field.
        dead_s: non-paralysable dead time.
    """

    own_per_s: Floats
    background_per_s: Floats
    background_usv_h: Floats
    per_usv_h: Floats
    dead_s: Floats

    def rate_per_s(self, true_usv_h: Floats) -> Floats:
        """Events per second at true total dose rates, shape (draws, levels).

        Below the background's own dose rate its counts go down with it.
        """
        h = np.asarray(true_usv_h, dtype=np.float64)
        natural = np.atleast_1d(self.background_usv_h)[:, None]
        share = np.minimum(h / natural, 1.0)
        above = np.maximum(h - natural, 0.0)
        per = np.atleast_1d(self.per_usv_h)[:, None]
        base = np.atleast_1d(self.background_per_s)[:, None]
        return np.atleast_1d(self.own_per_s)[:, None] + base * share + per * above

    def medians(self) -> Counted:
        """Return the same with every draw replaced by its median, shape (1,)."""
        names = ("own_per_s", "background_per_s", "background_usv_h", "per_usv_h", "dead_s")
        return Counted(*(np.array([np.median(getattr(self, n))]) for n in names))


def _scatter(estimator: Estimator, rate_per_s: Floats) -> Floats:
    """Standard deviation of the estimated rate, 1/s."""
    if isinstance(estimator, Switched):
        slow, fast = (_scatter(e, rate_per_s) for e in (estimator.slow, estimator.fast))
        return np.where(rate_per_s < estimator.switch_per_s, slow, fast)
    if isinstance(estimator, FixedCount):
        return np.asarray(rate_per_s / np.sqrt(estimator.pulses))
    window = 2.0 * estimator.tau_s if isinstance(estimator, Exponential) else estimator.window_s
    return np.asarray(np.sqrt(np.maximum(rate_per_s, 0.0) / window))


def mean_display(firmware: ReadoutModel, event_rate_per_s: Floats, dead_s: Floats) -> Floats:
    """Mean displayed dose rate in µSv/h at true rates of events, same shape, before rounding.

    Args:
        firmware: the readout.
        event_rate_per_s: ionising events per second, shape (draws, levels) or any.
        dead_s: the tube's dead time, broadcast against the rates.
    """
    from scipy.special import ndtr

    n = np.asarray(event_rate_per_s, dtype=np.float64)
    m = n / (1.0 + n * dead_s)
    sigma = 60.0 * np.maximum(_scatter(firmware.estimator, m), 1e-12)
    c = 60.0 * corrected_rate(m, firmware.dead_time_s)
    factors, b = firmware.factors_cpm_per_usv_h, firmware.background_cpm

    def partial(limit: float) -> tuple[Floats, Floats]:
        """P(c < limit) and E[c; c < limit]."""
        z = (limit - c) / sigma
        p = ndtr(z)
        density = np.exp(-0.5 * z * z) / np.sqrt(2.0 * np.pi)
        return p, c * p - sigma * density

    shown = np.zeros_like(c)
    ways = (1.0,) if firmware.hysteresis == 0.0 else (1.0, 1.0 - firmware.hysteresis)
    for way in ways:
        p0, e0 = np.zeros_like(c), np.zeros_like(c)
        for k, factor in enumerate(factors):
            if k < len(firmware.switches_cpm):
                p1, e1 = partial(firmware.switches_cpm[k] * way)
            else:
                p1, e1 = np.ones_like(c), c
            shown += ((e1 - e0) - b * (p1 - p0)) / factor / len(ways)
            p0, e0 = p1, e1
    return np.asarray(np.maximum(shown, 0.0))


def ratio_at(firmware: ReadoutModel, counted: Counted, true_usv_h: Floats) -> Floats:
    """Displayed over true dose rate, shape (draws, levels)."""
    rate = counted.rate_per_s(true_usv_h)
    dead = np.atleast_1d(counted.dead_s)[:, None]
    return mean_display(firmware, rate, dead) / true_usv_h


@dataclass(frozen=True, eq=False)
class BestSettings:
    """What to enter.

    Args:
        firmware: with the best settings.
        values: menu item and value, in its own inner unit.
        bound: names of items whose menu ends kept them from a better value.
        worst: largest error reading/true − 1 (with its sign) over the range, medians.
    """

    firmware: ReadoutModel
    values: tuple[tuple[MenuItem, float], ...]
    bound: tuple[str, ...]
    worst: float


def levels_of(low_usv_h: float, high_usv_h: float) -> Floats:
    """Dose rates over a range, evenly spaced in their logarithm."""
    return np.geomspace(low_usv_h, high_usv_h, LEVELS)


def best_settings(
    box: Box,
    counted: Counted,
    true_usv_h: Floats,
    aim: Aim = "worst",
    weight: Floats | None = None,
) -> BestSettings:
    """Try every value that the menu accepts and return what keeps the error smallest.

    Factors of different ranges do not touch each other, so each is tried by itself; thresholds and
    dead times are tried in every combination with them. Where two settings leave the same largest
    error, the smaller root mean square decides.

    Args:
        box: firmware and menu.
        counted: the tube; medians are used.
        true_usv_h: levels that matter, shape (levels,).
        aim: make the largest error small, or the weighted root mean square.
        weight: of the levels; alike if ``None``.

    Raises:
        UserError: if a menu makes no sense.
    """
    middle = counted.medians()
    factors = [m for m in box.menu if m.what == "factor"]
    others = [m for m in box.menu if m.what != "factor"]
    lattices = []
    for item in others:
        values = menu_values(item.low, item.high, item.step)
        thinned = values[:: max(1, values.size // MOST_THRESHOLDS)]
        lattices.append(np.unique(np.append(thinned, item.present)))
    best: tuple[tuple[float, float], BestSettings] | None = None
    for combination in itertools.product(*lattices):
        firmware = box.firmware
        for item, value in zip(others, combination, strict=True):
            if item.what == "threshold":
                firmware = replace(firmware, switches_cpm=(float(value),))
            elif item.what == "dead time":
                firmware = replace(firmware, dead_time_s=float(value))
        found = _best_factors(firmware, factors, middle, true_usv_h, aim, weight)
        errors = ratio_at(found.firmware, middle, true_usv_h)[0] - 1.0
        w = np.ones(errors.size) if weight is None else weight
        square = float(np.sqrt((errors**2 * w).sum() / w.sum()))
        largest = float(np.abs(errors).max())
        key = (round(largest, 6), square) if aim == "worst" else (square, largest)
        chosen = tuple(zip(others, map(float, combination), strict=True))
        if best is None or key < best[0]:
            worst = float(errors[int(np.argmax(np.abs(errors)))])
            best = key, replace(found, values=(*found.values, *chosen), worst=worst)
    assert best is not None
    return best[1]


def _best_factors(
    firmware: ReadoutModel,
    factors: list[MenuItem],
    middle: Counted,
    true_usv_h: Floats,
    aim: Aim,
    weight: Floats | None,
) -> BestSettings:
    rate = middle.rate_per_s(true_usv_h)[0]
    m = observed_rate(rate, DeadTime(float(middle.dead_s[0])))
    cpm = 60.0 * corrected_rate(m, firmware.dead_time_s)
    ranges = range_of(cpm, firmware.switches_cpm, 0.0)
    net = np.maximum(cpm - firmware.background_cpm, 0.0)
    values, bound = [], []
    for item in factors:
        here = np.isin(ranges, item.ranges)
        if not here.any():
            values.append((item, item.present))
            continue
        # the reading with the present factor, away from the scatter about the switch
        found = best_step(
            true_usv_h, net / item.present, here, present=item.present, low=item.low,
            high=item.high, step=item.step, aim=aim, weight=weight,
        )  # fmt: skip
        values.append((item, found.value))
        if found.value in (item.low, float(menu_values(item.low, item.high, item.step)[-1])):
            bound.append(item.name)
        changed = list(firmware.factors_cpm_per_usv_h)
        for r in item.ranges:
            changed[r] = found.value
        firmware = replace(firmware, factors_cpm_per_usv_h=tuple(changed))
    return BestSettings(firmware, tuple(values), tuple(bound), 0.0)


def range_ends_usv_h(firmware: ReadoutModel, counted: Counted) -> tuple[Floats, ...]:
    """True dose rates at which the firmware's ranges end, each (draws,); the last is ``inf``."""
    ends = []
    for switch in firmware.switches_cpm:
        seen = switch / 60.0
        m = seen / (1.0 + seen * firmware.dead_time_s)  # the pulses behind the corrected rate
        n = m / np.maximum(1.0 - m * counted.dead_s, 1e-9)
        above = (n - counted.own_per_s - counted.background_per_s) / counted.per_usv_h
        share = (n - counted.own_per_s) / np.maximum(counted.background_per_s, 1e-12)
        low = counted.background_usv_h * np.clip(share, 0.0, 1.0)
        ends.append(np.where(above > 0.0, counted.background_usv_h + above, low))
    return (*ends, np.full(np.shape(counted.per_usv_h), np.inf))


def top_of_range_usv_h(
    firmware: ReadoutModel, counted: Counted, top_usv_h: float | None
) -> tuple[Floats, Floats]:
    """True dose rate at which dead time, and at which the display, ends the range; each (draws,).

    Dead time ends it where a reading is 20 % off for losses that the firmware leaves (or, having
    corrected too much, adds). A firmware that knows the dead time exactly never ends it.
    """
    left = counted.dead_s - firmware.dead_time_s
    share = np.where(left > 0.0, LOSS / (1.0 - LOSS), -LOSS / (1.0 + LOSS))
    with np.errstate(divide="ignore"):
        n = np.where(left == 0.0, np.inf, share / np.where(left == 0.0, 1.0, left))
    by_losses = n / counted.per_usv_h
    if top_usv_h is None:
        return by_losses, np.full_like(by_losses, np.inf)
    events = top_usv_h * firmware.factors_cpm_per_usv_h[-1] / 60.0
    m = events / (1.0 + events * firmware.dead_time_s)
    lost = 1.0 - m * counted.dead_s
    n_top = np.where(lost > 0.0, m / np.where(lost > 0.0, lost, 1.0), np.inf)
    return by_losses, n_top / counted.per_usv_h
