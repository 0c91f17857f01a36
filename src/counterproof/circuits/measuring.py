"""Measuring the voltage and dividing the pulse: what the measurement does to the circuit."""

from __future__ import annotations

import numpy as np
from numpy.typing import ArrayLike

from counterproof.circuits.checks import Floats, not_negative, positive
from counterproof.errors import UserError
from counterproof.texts import text


def meter_reading_v(voltage_v: ArrayLike, source_ohm: ArrayLike, meter_ohm: ArrayLike) -> Floats:
    """What a meter shows behind a resistance: V R_m/(R_m + R_s), any common shape, volts.

    Behind an anode resistor of 10 Mohm a meter of 10 Mohm shows half. From first principles.

    Raises:
        UserError: if the meter's resistance is not positive.
    """
    meter, source = positive("resistance", meter_ohm), not_negative("resistance", source_ohm)
    return np.asarray(np.asarray(voltage_v, dtype=np.float64) * meter / (meter + source))


def true_voltage_v(reading_v: ArrayLike, source_ohm: ArrayLike, meter_ohm: ArrayLike) -> Floats:
    """Voltage without the meter: reading × (R_m + R_s)/R_m; the inverse of the above.

    Holds for a plain resistance. A regulated converter beyond its limiting current is none: where
    two readings with different meters disagree after this correction, trust neither.
    """
    meter, source = positive("resistance", meter_ohm), not_negative("resistance", source_ohm)
    return np.asarray(np.asarray(reading_v, dtype=np.float64) * (meter + source) / meter)


def voltage_from_two_meters(
    first_v: float, first_ohm: float, second_v: float, second_ohm: float
) -> tuple[float, float]:
    """Open voltage and source resistance from two readings with different loads.

    Two straight lines V = V₀ - I R_s through (V₁/R₁, V₁) and (V₂/R₂, V₂); from first principles.

    Returns:
        open voltage in volts and source resistance in ohms.

    Raises:
        UserError: if the readings do not differ or lead to a negative resistance.
    """
    loads = positive("resistance", [first_ohm, second_ohm])
    volts = positive("voltage", [first_v, second_v])
    i = volts / loads
    if i[0] == i[1]:
        raise UserError(text("circuits.two_meters"))
    source = float((volts[0] - volts[1]) / (i[1] - i[0]))
    if source < 0:
        raise UserError(text("circuits.two_meters"))
    return float(volts[0] + i[0] * source), source


def divider_share(
    upper_ohm: ArrayLike,
    lower_ohm: ArrayLike,
    load_ohm: ArrayLike = np.inf,
    upper_f: float = 0.0,
    lower_f: float = 0.0,
    frequency_hz: ArrayLike = 0.0,
) -> Floats:
    """Share of a voltage that a divider passes, at ``frequency_hz`` (0: slow), any common shape.

    |Z_lower/(Z_upper + Z_lower)| with each resistor's parallel capacitance and the load across the
    lower one; equal time constants make it flat. From first principles.

    Raises:
        UserError: if a resistance is not positive.
    """
    w = 2j * np.pi * np.asarray(frequency_hz, dtype=np.float64)
    y_up = 1 / positive("resistance", upper_ohm) + w * upper_f
    load = np.asarray(load_ohm, dtype=np.float64)
    if np.any(~(load > 0)):
        positive("resistance", load)
    y_low = 1 / positive("resistance", lower_ohm) + 1 / load + w * lower_f
    return np.asarray(np.abs(y_up / (y_up + y_low)))


def threshold_at_anode_v(comparator_v: ArrayLike, share: ArrayLike) -> Floats:
    """Threshold referred to the anode: comparator threshold over the share passed, volts.

    From first principles.
    """
    return np.asarray(positive("threshold", comparator_v) / positive("share", share))
