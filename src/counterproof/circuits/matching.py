"""Tube and box: does the voltage suit, which resistor, and does it risk double pulses.

A tube's data sheet comes first everywhere; the rules of thumb are marked as such.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Literal

from counterproof.circuits.checks import positive
from counterproof.errors import UserError
from counterproof.texts import text

VoltageFit = Literal[
    "good", "on plateau", "low end", "high end", "no plateau", "no counts", "danger", "unknown"
]

RESISTOR_OHM = (1e6, 10e6)
"""Anode resistors usual for small tubes; common practice, no source. Only where data is missing."""


@dataclass(frozen=True, slots=True)
class VoltageData:
    """What a tube's sheet says about voltage; ``None`` where it is silent. Volts."""

    start_v: float | None = None
    plateau_low_v: float | None = None
    plateau_high_v: float | None = None
    recommended_v: float | None = None
    maximum_v: float | None = None


@dataclass(frozen=True, slots=True)
class VoltageMatch:
    """How a supply suits a tube.

    Args:
        fit: the worst that any voltage within the supply's range means: ``good`` (middle of the
            plateau, or within 5 % of the recommended point), ``on plateau``, ``low end`` or
            ``high end`` (within a tenth of the plateau's length of that end), ``no plateau``
            (counts, but off the plateau), ``no counts`` (below the starting voltage), ``danger``
            (above the plateau's end or the maximum) or ``unknown`` (the sheet says too little).
        overvoltage_v: least distance above the starting voltage; ``None`` if that is unknown.
        margin_v: distance of the highest voltage below the plateau's end or the maximum,
            whichever is nearer; ``None`` if unknown.
        position: where on the plateau, 0 = lower end, 1 = upper end; ``None`` if unknown.
    """

    fit: VoltageFit
    overvoltage_v: float | None
    margin_v: float | None
    position: float | None


_WORST: tuple[VoltageFit, ...] = (
    "danger",
    "no counts",
    "no plateau",
    "unknown",
    "high end",
    "low end",
    "on plateau",
    "good",
)


def _fit(volts: float, data: VoltageData) -> VoltageFit:
    tops = [v for v in (data.plateau_high_v, data.maximum_v) if v is not None]
    if tops and volts > min(tops):
        return "danger"
    if data.start_v is not None and volts < data.start_v:
        return "no counts"
    low, high = data.plateau_low_v, data.plateau_high_v
    if low is not None and volts < low:
        return "no plateau"
    near = data.recommended_v is not None and abs(volts / data.recommended_v - 1) <= 0.05
    if low is not None and high is not None and high > low:
        place = (volts - low) / (high - low)
        if near or 1 / 3 <= place <= 1 / 2:
            return "good"
        if place < 0.1:
            return "low end"
        return "high end" if place > 0.9 else "on plateau"
    return "good" if near else "unknown"


def match_voltage(
    lowest_v: float, highest_v: float, data: VoltageData, droop_v: float = 0.0
) -> VoltageMatch:
    """Judge a supply between ``lowest_v`` and ``highest_v``, sinking by ``droop_v`` under load.

    A working point a third to a half along the plateau is common practice, no source; so are the
    tenths at its ends and the 5 % about the recommended point.

    Raises:
        UserError: if a voltage is not positive or the range is upside down.
    """
    low, high = float(positive("voltage", lowest_v)), float(positive("voltage", highest_v))
    if low > high:
        raise UserError(text("circuits.voltage_range"))
    bottom = low - droop_v
    points = [bottom + (high - bottom) * k / 20 for k in range(21)]
    fit = min((_fit(v, data) for v in points), key=_WORST.index)
    tops = [v for v in (data.plateau_high_v, data.maximum_v) if v is not None]
    position = None
    if (
        data.plateau_low_v is not None
        and data.plateau_high_v is not None
        and data.plateau_high_v > data.plateau_low_v
    ):
        middle = 0.5 * (low + high)
        position = (middle - data.plateau_low_v) / (data.plateau_high_v - data.plateau_low_v)
    return VoltageMatch(
        fit,
        None if data.start_v is None else bottom - data.start_v,
        min(tops) - high if tops else None,
        position,
    )


@dataclass(frozen=True, slots=True)
class ResistorRange:
    """Which anode resistors suit.

    Args:
        low_ohm: below it the discharge may not go out, or the pulse is larger than the maker meant.
        high_ohm: above it the tube recovers more slowly than wanted; below ``low_ohm`` if no
            resistor does both.
        low_from: ``"data sheet"`` or ``"common practice"``.
        high_from: ``"recovery"`` or ``"common practice"``.
    """

    low_ohm: float
    high_ohm: float
    low_from: Literal["data sheet", "common practice"]
    high_from: Literal["recovery", "common practice"]

    @property
    def possible(self) -> bool:
        """Whether any resistor satisfies both ends."""
        return self.low_ohm <= self.high_ohm


def resistor_range(
    supply_v: float,
    anode_f: float,
    data: VoltageData,
    sheet_ohm: float | None = None,
    recover_s: float | None = None,
    recovered: float = 0.9,
) -> ResistorRange:
    """Range of anode resistors for a tube at ``supply_v``.

    Lower end: the sheet's resistor, raised with the overvoltage so that the current
    (V - V_start)/R that could keep a discharge alight stays at what its maker allows at the
    recommended voltage; from first principles. Upper end: the resistor that recharges ``anode_f``
    to ``recovered`` within ``recover_s``. Where data is missing: 1…10 Mohm, common practice.

    Raises:
        UserError: if a value is not positive.
        ValueError: if ``recovered`` lies outside (0, 1).
    """
    if not 0 < recovered < 1:
        raise ValueError(f"recovered must lie between 0 and 1, not {recovered!r}")
    volts, c = float(positive("voltage", supply_v)), float(positive("capacitance", anode_f))
    low = RESISTOR_OHM[0]
    low_from: Literal["data sheet", "common practice"] = "common practice"
    if sheet_ohm is not None:
        low, low_from = float(positive("resistance", sheet_ohm)), "data sheet"
        start, point = data.start_v, data.recommended_v
        if start is not None and point is not None and point > start:
            low *= max(1.0, (volts - start) / (point - start))
    high = max(RESISTOR_OHM[1], low)
    high_from: Literal["recovery", "common practice"] = "common practice"
    if recover_s is not None:
        high = float(positive("time", recover_s)) / (-c * math.log1p(-recovered))
        high_from = "recovery"
    return ResistorRange(low, high, low_from, high_from)


@dataclass(frozen=True, slots=True)
class DoublePulseRisk:
    """How much more a circuit tempts a tube to double pulses than its maker's own.

    Args:
        charge_ratio: charge per pulse over that in the maker's circuit; the mean number of late
            secondary electrons grows with it in proportion, to first order.
        restoring_ratio: current (V - V_start)/R over the maker's; above 1 the discharge may
            reignite or not go out. ``None`` if the data is missing.
        retriggers: whether the pulse stays above the threshold longer than the firmware is blind,
            so that noise on its tail may count again.
        risk: ``"usual"``, ``"raised"`` (a ratio above 1.5, or retriggering) or ``"high"`` (a ratio
            above 5); the bounds are ours, no source. Test it by the intervals between pulses.
    """

    charge_ratio: float
    restoring_ratio: float | None
    retriggers: bool
    risk: Literal["usual", "raised", "high"]


def double_pulse_risk(
    charge_c: float,
    maker_charge_c: float,
    restoring_a: float | None = None,
    maker_restoring_a: float | None = None,
    above_threshold_s: float = 0.0,
    blind_s: float = float("inf"),
) -> DoublePulseRisk:
    """Compare charge, restoring current and pulse length with the maker's circuit.

    Raises:
        UserError: if a charge or a current is not positive.
    """
    ratio = float(positive("charge", charge_c) / positive("charge", maker_charge_c))
    restoring = None
    if restoring_a is not None and maker_restoring_a is not None:
        restoring = float(positive("current", restoring_a) / positive("current", maker_restoring_a))
    again = above_threshold_s > blind_s
    worst = max(ratio, restoring or 0.0)
    risk: Literal["usual", "raised", "high"] = "usual"
    if worst > 5:
        risk = "high"
    elif worst > 1.5 or again:
        risk = "raised"
    return DoublePulseRisk(ratio, restoring, again, risk)
