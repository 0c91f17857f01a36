"""Endurance: what the display modes, the converter and the pulses draw from the battery."""

from __future__ import annotations

from collections.abc import Iterable

import numpy as np
from numpy.typing import ArrayLike

from counterproof.circuits.checks import Floats, not_negative, positive
from counterproof.errors import UserError
from counterproof.texts import text


def mean_current_a(modes: Iterable[tuple[float, float]]) -> float:
    """Mean current of a mixture of display modes, in amperes.

    Args:
        modes: (share of the time, current in amperes) of each mode, such as display off, on, lit.

    Raises:
        UserError: if a value is negative or the shares do not add up to 1.
    """
    pairs = [(float(not_negative("share", s)), float(not_negative("current", i))) for s, i in modes]
    if abs(sum(s for s, _ in pairs) - 1) > 1e-6:
        raise UserError(text("circuits.shares"))
    return sum(s * i for s, i in pairs)


def converter_efficiency(
    output_v: ArrayLike, output_a: ArrayLike, battery_v: ArrayLike, extra_battery_a: ArrayLike
) -> Floats:
    """Efficiency of a voltage converter, from first principles (power out over power in).

    Args:
        output_v: its output voltage under load.
        output_a: load current.
        battery_v: battery voltage.
        extra_battery_a: battery current with the load less that without.

    Raises:
        UserError: if a value is not positive, or the result exceeds 1: then a reading is wrong.
    """
    power = positive("voltage", output_v) * positive("current", output_a)
    drawn = positive("voltage", battery_v) * positive("current", extra_battery_a)
    if np.any(power > drawn):
        raise UserError(text("circuits.efficiency"))
    return np.asarray(power / drawn)


def pulse_load_a(
    pulses_per_s: ArrayLike,
    charge_c: ArrayLike,
    high_v: ArrayLike,
    battery_v: ArrayLike,
    efficiency: ArrayLike,
) -> Floats:
    """Battery current for the pulses: n Q V / (η V_battery), any common shape, amperes.

    The supply delivers each charge at its own voltage, part of it heating the anode resistor. From
    first principles. ``charge_c`` is the mean charge at that rate: early pulses carry less.

    Raises:
        UserError: if a value is out of range.
    """
    eta = positive("efficiency", efficiency)
    if np.any(eta > 1):
        raise UserError(text("circuits.efficiency"))
    current = not_negative("rate", pulses_per_s) * not_negative("charge", charge_c)
    return np.asarray(
        current * positive("voltage", high_v) / (eta * positive("voltage", battery_v))
    )


def endurance_h(
    capacity_ah: ArrayLike,
    current_a: ArrayLike,
    usable: ArrayLike = 1.0,
    self_discharge_per_month: ArrayLike = 0.0,
) -> Floats:
    """Hours until the battery is empty, any common shape.

    Without self-discharge capacity over mean current; with a share f lost per 30 days the charge
    obeys dq/dt = -I - λ q, λ = -ln(1 - f)/720 h, so t = ln(1 + λ q₀/I)/λ. From first principles.
    Capacity falls with cold, age and current: take ``usable`` from a measured discharge.

    Raises:
        UserError: if a value is out of range.
    """
    q = positive("capacity", capacity_ah) * positive("share", usable)
    i = positive("current", current_a)
    loss = not_negative("share", self_discharge_per_month)
    if np.any(loss >= 1) or np.any(np.asarray(usable) > 1):
        raise UserError(text("circuits.share_above_one"))
    rate = -np.log1p(-loss) / 720.0
    safe = np.where(rate > 0, rate, 1.0)
    return np.asarray(np.where(rate > 0, np.log1p(safe * q / i) / safe, q / i))
