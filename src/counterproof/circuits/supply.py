"""The supply under load: mean current, droop and ripple at a pulse rate.

Charge leaves the supply only as fast as the anode recharges through its resistor. In the limit of
a fixed drop each pulse empties the anode capacitance to the extinction voltage, so a pulse that
comes early carries less: the current grows as rate × charge at first and never passes
(V - V_ext)/(R + R_source). Between resets the circuit is linear and intervals are independent of
the past, so the mean over Poisson pulses is as exact as the steady state of regular ones.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

import numpy as np
from numpy.typing import ArrayLike

from counterproof.circuits.checks import Floats, not_negative, positive
from counterproof.circuits.network import GROUND, SUPPLY, Network

Pattern = Literal["poisson", "regular"]


@dataclass(frozen=True, slots=True)
class Supply:
    """A high-voltage supply.

    Args:
        open_v: voltage without load.
        source_ohm: its source resistance; 0 for a regulated supply.
        reservoir_f: capacitance at its output, cable included if it lies on this side of the
            resistor; ``None``: large enough to smooth over many pulses.
        limit_a: current at which a regulated supply gives up and becomes a current source.
    """

    open_v: float
    source_ohm: float = 0.0
    reservoir_f: float | None = None
    limit_a: float = np.inf


@dataclass(frozen=True, eq=False, slots=True)
class Load:
    """Steady state at each rate; arrays of the rates' shape.

    Args:
        pulses_per_s: pulses that the tube makes.
        charge_c: mean charge per pulse.
        current_a: mean current.
        droop_v: mean fall of the supply's output.
        before_v: mean voltage of the anode when a pulse strikes.
        limited: whether the supply has reached its limiting current.
    """

    pulses_per_s: Floats
    charge_c: Floats
    current_a: Floats
    droop_v: Floats
    before_v: Floats
    limited: np.ndarray


def _timing(rate: Floats, dead: float, pattern: Pattern) -> tuple[Floats, Floats]:
    """Pulses per second, and the interval (regular) or its mean after the dead time (Poisson)."""
    if pattern == "poisson":
        return rate / (1 + rate * dead), 1 / rate
    interval = np.maximum(np.ceil(dead * rate - 1e-9), 1) / rate
    return 1 / interval, interval


def _carried(decay: ArrayLike, spacing: Floats, dead: float, pattern: Pattern) -> Floats:
    """Mean of exp(-decay · interval), shape (rates, modes)."""
    d = np.atleast_1d(np.asarray(decay, dtype=np.float64))
    if pattern == "regular":
        return np.asarray(np.exp(-np.multiply.outer(spacing, d)))
    return np.asarray(np.exp(-d * dead) / (1 + np.multiply.outer(spacing, d)))


def fixed_drop_load(
    rate_per_s: ArrayLike,
    supply: Supply,
    anode_ohm: float,
    anode_f: float,
    extinction_v: float,
    dead_time_s: float = 0.0,
    pattern: Pattern = "poisson",
) -> Load:
    """Steady state when every pulse pulls the anode down to ``extinction_v``.

    Mean charge C E[V⁻ - V_ext], where the state before a pulse follows from
    x⁻ = E[exp(-A t)] (D x⁻ + b): exact for regular and, in the mean, for Poisson pulses with a
    non-paralysable dead time. Without reservoir and source resistance it is
    m C ΔV / (1 + n R C). From first principles.

    Args:
        rate_per_s: rate of ionising events, shape (n,) or scalar.
        supply: the supply.
        anode_ohm: anode resistor.
        anode_f: capacitance on the anode.
        extinction_v: anode voltage at which the discharge ends.
        dead_time_s: the tube's.
        pattern: ``"poisson"`` or ``"regular"``.

    Raises:
        UserError: if a value is not positive, or the supply lies below the extinction voltage.
    """
    rate = positive("rate", rate_per_s)
    shape, rate = rate.shape, np.atleast_1d(rate)
    R, C = float(positive("resistance", anode_ohm)), float(positive("capacitance", anode_f))
    span = float(positive("span", supply.open_v - extinction_v))
    dead = float(not_negative("time", dead_time_s))
    source = float(not_negative("resistance", supply.source_ohm))
    pulses, spacing = _timing(rate, dead, pattern)
    stiff = pulses * C * (1 - _carried(1 / (R * C), spacing, dead, pattern)[:, 0])  # A per volt
    if source > 0 and supply.reservoir_f is not None:
        net = Network(
            ("store", "anode"),
            (("store", SUPPLY, source), ("anode", "store", R)),
            (("store", GROUND, supply.reservoir_f), ("anode", GROUND, C)),
        )
        F = net.propagator(_carried(net.decay_per_s, spacing, dead, pattern))
        keep = np.diag([1.0, 0.0])
        state = np.linalg.solve(np.eye(2) - F @ keep, (F @ np.array([0.0, -span]))[..., None])
        before = supply.open_v + state[:, 1, 0]
        current = pulses * C * (before - extinction_v)
    else:
        current = stiff * span / (1 + stiff * source)
        before = extinction_v + current / (pulses * C)
    droop = current * source
    limited = current > supply.limit_a
    if np.any(limited):
        # a current source now: the output sinks until the pulses take no more than it gives
        current = np.where(limited, supply.limit_a, current)
        droop = np.where(limited, span - current / stiff, droop)
        before = np.where(limited, extinction_v + current / (pulses * C), before)
    return Load(
        pulses.reshape(shape),
        (current / pulses).reshape(shape),
        current.reshape(shape),
        droop.reshape(shape),
        before.reshape(shape),
        limited.reshape(shape),
    )


def fixed_charge_load(
    rate_per_s: ArrayLike,
    supply: Supply,
    anode_ohm: float,
    charge_c: float,
    extinction_v: float,
    dead_time_s: float = 0.0,
) -> Load:
    """Steady state when every pulse takes the same charge: I = m Q, droop I R_source.

    Exact in the mean for any pattern (Campbell's theorem, first moment) until the mean anode
    voltage reaches ``extinction_v``; beyond, the charge cannot be supplied and the current stays
    at (V - V_ext)/(R + R_source). From first principles.

    Raises:
        UserError: if a value is not positive, or the supply lies below the extinction voltage.
    """
    rate = positive("rate", rate_per_s)
    R, Q = float(positive("resistance", anode_ohm)), float(positive("charge", charge_c))
    span = float(positive("span", supply.open_v - extinction_v))
    source = float(not_negative("resistance", supply.source_ohm))
    dead = float(not_negative("time", dead_time_s))
    pulses = rate / (1 + rate * dead)
    ceiling = span / (R + source)
    wanted = pulses * Q
    limited = wanted > min(supply.limit_a, ceiling)
    current = np.minimum(wanted, min(supply.limit_a, ceiling))
    # a current source that cannot keep up sinks until the anode's mean is the extinction voltage
    droop = np.where(wanted > supply.limit_a, span - current * R, current * source)
    before = supply.open_v - droop - current * R
    return Load(pulses, current / pulses, current, droop, np.asarray(before), np.asarray(limited))


def ceiling_current_a(drop_v: ArrayLike, resistance_ohm: ArrayLike) -> Floats:
    """Largest mean current that pulses can draw, ΔV/R, amperes; from first principles.

    A current near it means a tube that hardly recovers: it saturates, or does not quench.
    """
    return np.asarray(positive("drop", drop_v) / positive("resistance", resistance_ohm))


def pulse_ripple_v(charge_c: ArrayLike, reservoir_f: ArrayLike) -> Floats:
    """Most that one pulse takes off the reservoir, Q/C, volts; from first principles."""
    return np.asarray(positive("charge", charge_c) / positive("capacitance", reservoir_f))


def burst_ripple_v(current_a: ArrayLike, pause_s: ArrayLike, reservoir_f: ArrayLike) -> Floats:
    """Fall of the reservoir between two bursts of a converter, I t/C, volts.

    ``current_a`` is all that flows: pulses, divider, leakage. From first principles.
    """
    i, t = not_negative("current", current_a), not_negative("time", pause_s)
    return np.asarray(i * t / positive("capacitance", reservoir_f))
