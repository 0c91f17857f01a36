"""One pulse: charge, drop, recharge, resolving time, and what arrives at the input.

A discharge ends by one of two limits, and a real tube lies between them; both are computed
throughout:

*fixed drop*
    the discharge pulls the anode down to the same extinction voltage, whatever capacitance hangs on
    it: the charge grows with the capacitance;
*fixed charge*
    the space charge of the ions ends the discharge after the same charge, whatever hangs on the
    anode: the drop shrinks with the capacitance.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

import numpy as np
from numpy.typing import ArrayLike

from counterproof.circuits.cables import ResistorAt
from counterproof.circuits.checks import Floats, not_negative, positive
from counterproof.circuits.network import GROUND, SUPPLY, Branch, Network


def recharge_time_s(
    resistance_ohm: ArrayLike, capacitance_f: ArrayLike, fraction: ArrayLike = 0.9
) -> Floats:
    """Time until ``fraction`` of the drop is made good: -RC ln(1 - fraction), any common shape, s.

    From first principles (charging a capacitor through a resistor).

    Raises:
        UserError: if resistance or capacitance are not positive.
        ValueError: if the fraction lies outside [0, 1).
    """
    f = np.asarray(fraction, dtype=np.float64)
    if np.any((f < 0) | (f >= 1)):
        raise ValueError(f"fraction must lie in [0, 1), not {fraction!r}")
    rc = positive("resistance", resistance_ohm) * positive("capacitance", capacitance_f)
    return np.asarray(-rc * np.log1p(-f))


def anode_voltage_v(
    times_s: ArrayLike,
    supply_v: ArrayLike,
    drop_v: ArrayLike,
    resistance_ohm: ArrayLike,
    capacitance_f: ArrayLike,
) -> Floats:
    """Anode voltage at ``times_s`` after a discharge: V - ΔV exp(-t/RC), any common shape, volts.

    From first principles.
    """
    rc = positive("resistance", resistance_ohm) * positive("capacitance", capacitance_f)
    drop = not_negative("drop", drop_v)
    return np.asarray(
        np.asarray(supply_v, dtype=np.float64) - drop * np.exp(-np.asarray(times_s) / rc)
    )


@dataclass(frozen=True, eq=False, slots=True)
class ChargeLimits:
    """Charge per pulse and drop of the anode in both limits; arrays of one shape.

    Args:
        fixed_drop_c: charge if the drop stays, in coulombs.
        fixed_drop_v: that drop, in volts.
        fixed_charge_c: charge if the charge stays.
        fixed_charge_v: the drop it then makes.
    """

    fixed_drop_c: Floats
    fixed_drop_v: Floats
    fixed_charge_c: Floats
    fixed_charge_v: Floats


def charge_limits(
    drop_v: ArrayLike, capacitance_f: ArrayLike, reference_f: ArrayLike
) -> ChargeLimits:
    """Charge and drop per pulse when ``capacitance_f`` hangs on an anode, in both limits.

    ``drop_v`` is the drop with ``reference_f`` on it: the tube alone with its socket, as its maker
    means it to be used. Q = C ΔV against Q = C_ref ΔV; from first principles.

    Raises:
        UserError: if a value is not positive.
    """
    drop, c = positive("drop", drop_v), positive("capacitance", capacitance_f)
    drop, c, ref = np.broadcast_arrays(drop, c, positive("capacitance", reference_f))
    return ChargeLimits(c * drop, drop * 1.0, ref * drop, drop * ref / c)


def resolving_time_s(
    resistance_ohm: ArrayLike,
    capacitance_f: ArrayLike,
    drop_v: ArrayLike,
    threshold_v: ArrayLike,
    kind: Literal["step", "level"] = "step",
    tube_dead_time_s: ArrayLike = 0.0,
) -> Floats:
    """Shortest time between two pulses that the input tells apart, any common shape, s.

    A ``"step"`` input sees the sudden part only (small coupling capacitor): the second step
    ΔV (1 - exp(-t/RC)) must pass the threshold. A ``"level"`` input compares the slow signal
    itself: it must have come back below the threshold, ΔV exp(-t/RC). The tube's own dead time
    stays the least. From first principles, in the limit of a fixed drop. ``inf``: a pulse never
    reaches the threshold.

    Args:
        resistance_ohm: anode resistor.
        capacitance_f: what hangs on the anode.
        drop_v: full drop of the anode.
        threshold_v: threshold, referred to the anode (input threshold over the share that the
            divider passes).
        kind: how the input looks at the pulse.
        tube_dead_time_s: from the tube's data.
    """
    rc = positive("resistance", resistance_ohm) * positive("capacitance", capacitance_f)
    share = positive("threshold", threshold_v) / positive("drop", drop_v)
    seen = share < 1
    safe = np.where(seen, share, 0.5)
    t = -rc * (np.log1p(-safe) if kind == "step" else np.log(safe))
    own = not_negative("time", tube_dead_time_s)
    return np.asarray(np.where(seen, np.maximum(t, own), np.inf))


@dataclass(frozen=True, slots=True)
class Pickoff:
    """From anode to input: everything that shapes a pulse.

    Args:
        anode_ohm: anode resistor.
        tube_f: anode to cathode of the tube.
        stray_f: anode to ground.
        cable_f: the whole cable.
        resistor_at: the end of the cable where the anode resistor sits.
        at: where the pulse is taken off. ``"cathode"``: across ``input_ohm`` between cathode
            line and ground, the cable carrying anode (or supply) line and cathode line.
            ``"anode"``: through ``coupling_f`` from the line in the box, cathode on ground.
        input_ohm: resistance from the input to ground.
        input_f: capacitance from the input to ground.
        coupling_f: coupling capacitor (anode only).
        load_ohm: resistor in the box in series with the line, across which the pulse appears
            when the anode resistor sits at the tube (anode only).
        share: share of the pulse that a divider behind the input passes to the comparator.
    """

    anode_ohm: float
    tube_f: float
    stray_f: float = 1e-12
    cable_f: float = 0.0
    resistor_at: ResistorAt = "tube"
    at: Literal["cathode", "anode"] = "cathode"
    input_ohm: float = 100e3
    input_f: float = 10e-12
    coupling_f: float = 100e-12
    load_ohm: float = 100e3
    share: float = 1.0

    def network(self) -> Network:
        """Return the network; nodes ``anode`` and ``input``, ``cathode`` being the input or ground.

        Raises:
            UserError: if a value that must be positive is not.
        """
        remote = self.resistor_at == "tube"
        caps: list[Branch] = [("anode", self.cathode, self.tube_f), ("input", GROUND, self.input_f)]
        res: list[Branch] = [("input", GROUND, self.input_ohm)]
        nodes = ["anode", "input"]
        if self.stray_f > 0:
            caps.append(("anode", GROUND, self.stray_f))
        line = "anode"
        if self.at == "anode" and remote:
            line = "line"
            nodes.append(line)
            res.append((line, SUPPLY, self.load_ohm))
            # a line without cable still has the picofarad of its soldering joints
            caps.append((line, GROUND, max(self.cable_f, 1e-12)))
            res.append(("anode", line, self.anode_ohm))
        else:
            res.append(("anode", SUPPLY, self.anode_ohm))
            if self.cable_f > 0:
                behind = SUPPLY if remote else "anode"
                caps.append((behind, self.cathode, self.cable_f))
        if self.at == "anode":
            caps.append((line, "input", self.coupling_f))
        return Network(tuple(nodes), tuple(res), tuple(caps))

    @property
    def cathode(self) -> str:
        """Name of the node to which the tube discharges."""
        return "input" if self.at == "cathode" else GROUND


@dataclass(frozen=True, slots=True)
class Pulse:
    """What arrives at the comparator.

    Args:
        peak_v: highest absolute voltage.
        peak_s: when.
        charge_c: charge that the tube moved.
        drop_v: fall of the voltage across the tube.
        above_s: time above the threshold; 0 if it never gets there.
        recharge_s: time until the voltage across the tube is back to 90 % of its drop.
    """

    peak_v: float
    peak_s: float
    charge_c: float
    drop_v: float
    above_s: float
    recharge_s: float


def _last_above(times: Floats, values: Floats, level: float) -> float:
    """Time of the last fall below ``level``, between two points by a straight line in the log."""
    above = np.flatnonzero(values > level)
    if above.size == 0:
        return 0.0
    i = int(above[-1])
    if i + 1 >= times.size:
        return float("inf")
    v0, v1 = values[i], values[i + 1]
    part = (v0 - level) / (v0 - v1) if v1 <= 0 else np.log(v0 / level) / np.log(v0 / v1)
    return float(times[i] + part * (times[i + 1] - times[i]))


def pulse_at_input(
    pickoff: Pickoff,
    drop_v: float | None = None,
    charge_c: float | None = None,
    threshold_v: float = 1.0,
    spread_s: float = 0.0,
) -> Pulse:
    """Follow one pulse from the tube to the comparator; exact for the lumped network.

    Give the fall of the voltage across the tube (fixed drop) or the charge (fixed charge), not
    both. The charge Q = ΔV C with C what the sudden discharge meets. Source:
    :mod:`counterproof.circuits.network`.

    Args:
        pickoff: the circuit.
        drop_v: fixed drop.
        charge_c: fixed charge.
        threshold_v: comparator threshold, for ``above_s``.
        spread_s: time constant of the charge's arrival; ions move for microseconds. With it the
            peak is lower; 0 gives the upper bound.

    Raises:
        UserError: if a value that must be positive is not.
        ValueError: if not exactly one of drop and charge is given.
    """
    if (drop_v is None) == (charge_c is None):
        raise ValueError("give either drop_v or charge_c")
    network = pickoff.network()
    meets = network.across_f("anode", pickoff.cathode)
    if drop_v is not None:
        drop = float(positive("drop", drop_v))
        charge = drop * meets
    else:
        assert charge_c is not None
        charge = float(positive("charge", charge_c))
        drop = charge / meets
    positive("threshold", threshold_v)
    q = charge * network.transfer_vector("anode", pickoff.cathode)
    # the tube takes charge off the anode: anode down, cathode up
    slow = 1 / max(float(network.decay_per_s[0]), 1e-9)
    fast = 1 / float(network.decay_per_s[-1])
    if spread_s > 0:
        slow, fast = max(slow, spread_s), min(fast, spread_s)
    t = np.concatenate([[0.0], np.geomspace(fast * 1e-3, slow * 30, 6000)])
    seen = pickoff.share * np.abs(network.response("input", q, t, spread_s))
    across = -network.response("anode", q, t, spread_s)
    if pickoff.cathode != GROUND:
        across = across + network.response(pickoff.cathode, q, t, spread_s)
    top = int(np.argmax(seen))
    return Pulse(
        float(seen[top]),
        float(t[top]),
        charge,
        drop,
        _last_above(t, seen, threshold_v),
        _last_above(t, across, 0.1 * drop),
    )
