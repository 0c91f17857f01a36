"""Stored energy and discharging, and the cautions that belong to every high voltage here."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike

from counterproof.circuits.checks import Floats, not_negative, positive
from counterproof.texts import text

SAFE_V = 60.0
"""DC voltage below which dry skin is held to be safe; common practice, from memory."""

CAUTIONS = (
    "live_pin",
    "no_plugging",
    "discharge",
    "rating",
    "cell_first",
    "maximum",
    "local_rules",
)
"""Keys of the cautions, in the order in which they matter."""


def cautions() -> tuple[str, ...]:
    """Return the cautions as sentences."""
    return tuple(text(f"circuits.caution.{key}") for key in CAUTIONS)


@dataclass(frozen=True, slots=True)
class StoredEnergy:
    """What a charged capacitance holds, against the limits of appliance safety practice.

    Args:
        energy_j: ½ C V².
        charge_c: C V.
        limit: which limit applies: ``"0.1 µF"``, ``"45 µC"`` or ``"350 mJ"``.
        of_limit: stored amount over that limit; above 1 exceeds it.
    """

    energy_j: float
    charge_c: float
    limit: str
    of_limit: float

    @property
    def exceeds(self) -> bool:
        """Whether the limit is exceeded."""
        return self.of_limit > 1


def stored_energy(capacitance_f: float, voltage_v: float) -> StoredEnergy:
    """Energy and charge of a capacitance, and how they stand against the limits for touching it.

    Limits, from memory of appliance safety practice (we take it for IEC 60335-1, 8.1.4, not
    opened): 0.1 µF up to 450 V, 45 µC from there to 15 kV, 350 mJ beyond. Within a limit does not
    mean pleasant: a startled hand hits something else.

    Raises:
        UserError: if a value is not positive.
    """
    c, v = float(positive("capacitance", capacitance_f)), float(positive("voltage", voltage_v))
    energy, charge = 0.5 * c * v * v, c * v
    if v <= 450:
        return StoredEnergy(energy, charge, "0.1 µF", c / 0.1e-6)
    if v <= 15e3:
        return StoredEnergy(energy, charge, "45 µC", charge / 45e-6)
    return StoredEnergy(energy, charge, "350 mJ", energy / 0.35)


def discharge_time_s(
    capacitance_f: ArrayLike,
    bleeder_ohm: ArrayLike,
    voltage_v: ArrayLike,
    safe_v: ArrayLike = SAFE_V,
) -> Floats:
    """Time until a bleeder has brought the voltage down to ``safe_v``: RC ln(V/V_safe), s.

    Zero if it is there already. From first principles; some dielectrics recover part of their
    voltage afterwards, and a meter must confirm it.

    Raises:
        UserError: if a value is not positive.
    """
    rc = positive("capacitance", capacitance_f) * positive("resistance", bleeder_ohm)
    ratio = positive("voltage", voltage_v) / positive("voltage", safe_v)
    return np.asarray(rc * np.log(np.maximum(ratio, 1.0)))


def bleeder_for_ohm(
    capacitance_f: ArrayLike, voltage_v: ArrayLike, within_s: ArrayLike, safe_v: ArrayLike = SAFE_V
) -> Floats:
    """Largest bleeder that discharges to ``safe_v`` in time, ohms; the inverse of the above.

    It also loads the supply with V/R all the time. ``inf`` where nothing needs discharging.
    """
    ratio = positive("voltage", voltage_v) / positive("voltage", safe_v)
    c, t = positive("capacitance", capacitance_f), positive("time", within_s)
    logs = np.log(np.maximum(ratio, 1.0))
    return np.asarray(np.where(logs > 0, t / (c * np.where(logs > 0, logs, 1.0)), np.inf))


def bleeder_load(voltage_v: ArrayLike, bleeder_ohm: ArrayLike) -> tuple[Floats, Floats]:
    """Steady current in amperes and heat in watts of a bleeder, V/R and V²/R."""
    v = not_negative("voltage", voltage_v)
    i = v / positive("resistance", bleeder_ohm)
    return np.asarray(i), np.asarray(v * i)
