"""Battery life with another tube: what the box draws anyway, and what the pulses add."""

from __future__ import annotations

import numpy as np

from counterproof.circuits.battery import endurance_h, pulse_load_a
from counterproof.kit.instrument import Instrument
from counterproof.quantities import Estimate, parse_quantity
from counterproof.retrofit.compatibility import Compatibility
from counterproof.retrofit.draws import Floats, estimate_of

CLAIM_U = 0.15
"""Relative uncertainty of a maker's battery life; common practice, no source."""
EFFICIENCY = (0.1, 0.5)
"""Small high-voltage converters from battery to tube; common practice, no source."""
CELL_V = 3.7
"""A lithium cell, where the file is silent."""


def endurance(
    instrument: Instrument, compatible: Compatibility, rate_per_s: Floats
) -> Estimate | None:
    """Hours of battery life at a count rate, or ``None`` where battery or circuit are not known.

    The maker's claim stands for what the box draws without pulses; a claim made with pulses on
    contains a few nanoamperes of them.

    Args:
        instrument: capacity and claimed hours come from its battery.
        compatible: figures of the circuit give the charge per pulse, between its two limits.
        rate_per_s: events per second, shape (draws,).
    """
    battery, figures = instrument.battery, compatible.figures
    volts = instrument.supply.voltage
    if battery.capacity is None or battery.claimed_h is None or figures is None or volts is None:
        return None
    capacity = parse_quantity(battery.capacity, "Ah")
    draws = rate_per_s.size
    rng = np.random.default_rng(draws)
    hours = battery.claimed_h.middle * np.exp(CLAIM_U * rng.standard_normal(draws))
    base = capacity / hours
    share = rng.random(draws)
    charge = figures.charge_c[0] + share * (figures.charge_c[1] - figures.charge_c[0])
    efficiency = EFFICIENCY[0] + rng.random(draws) * (EFFICIENCY[1] - EFFICIENCY[0])
    cell = parse_quantity(battery.voltage, "V") if battery.voltage else CELL_V
    pulses = pulse_load_a(rate_per_s, charge, parse_quantity(volts, "V"), cell, efficiency)
    return estimate_of(np.asarray(endurance_h(capacity, base + pulses)), "h")
