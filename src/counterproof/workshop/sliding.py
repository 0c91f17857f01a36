"""Turn one knob of a design and see at once what it does: response curve and recovery.

For a slider, not for a statement: the design's middle alone is computed, without the spread of
what is unknown; :mod:`.retrofits` states what to expect, and how sure that is.
"""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

import numpy as np

from counterproof.errors import UserError
from counterproof.kit import Tube
from counterproof.quantities import parse_quantity
from counterproof.texts import text

ENERGIES_KEV = (30.0, 45.0, 60.0, 80.0, 120.0, 250.0, 661.657, 1250.0)
CS137_AT = 6
METALS = ("tin", "brass", "copper", "aluminium", "lead", "stainless steel")
USUAL_TUBE_F = 3e-12
"""Anode to cathode of a small tube; common practice, no source."""
PF_PER_M = 100.0
"""Of a usual coaxial cable, from memory."""


def slid_tube(tube: Tube, knobs: Mapping[str, float], metal: str = "") -> Tube:
    """Return a tube with knobs turned; what is not named stays.

    Args:
        tube: as it lies on the bench.
        knobs: ``wall_mm``, ``window_mg_cm2``, ``filter_mm`` (0 takes the filter off),
            ``open_percent`` of the filter.
        metal: of the filter.

    Raises:
        UserError: if the result cannot be a tube.
    """
    body = tube.to_dict()
    if "wall_mm" in knobs:
        wall = dict(body.get("wall") or {"material": _wall_material(tube)})
        wall.pop("areal_density_mg_cm2", None)
        body["wall"] = wall | {"thickness_mm": knobs["wall_mm"]}
    if "window_mg_cm2" in knobs:
        window = dict(body.get("window") or {"material": "mica"})
        window.pop("thickness_mm", None)
        body["window"] = window | {"areal_density_mg_cm2": knobs["window_mg_cm2"]}
    if "filter_mm" in knobs:
        body.pop("filter", None)
        if knobs["filter_mm"] > 0.0:
            if metal not in METALS:
                raise UserError(text("filter.metal", metal=metal, known=", ".join(METALS)))
            covered = 1.0 - knobs.get("open_percent", 0.0) / 100.0
            sleeve = {"material": metal, "thickness_mm": knobs["filter_mm"], "coverage": covered}
            body["filter"] = [sleeve]
    return Tube.from_dict(body)


def _wall_material(tube: Tube) -> str:
    from counterproof.kit.to_tube import ANY, CONSTRUCTIONS, construction_of

    return CONSTRUCTIONS.get(construction_of(tube), ANY).wall[0]


def starting_knobs(tube: Tube) -> dict[str, float]:
    """Return where the knobs stand for a tube as it is: the middle of what is known."""
    from counterproof.kit.to_tube import tube_model

    body = tube_model(tube).nominal
    sleeves = tube.filter
    knobs = {"wall_mm": round(10.0 * body.wall.thickness_cm, 3)}
    if body.window is not None:
        window = body.window.thickness_cm * body.window.material.density_g_cm3 * 1e3
        knobs["window_mg_cm2"] = round(window, 2)
    knobs["filter_mm"] = 0.0
    knobs["open_percent"] = 0.0
    if sleeves and sleeves[0].thickness_mm is not None:
        knobs["filter_mm"] = sleeves[0].thickness_mm.middle
        knobs["open_percent"] = round(100.0 * (1.0 - sleeves[0].coverage), 1)
    return knobs


def response_of(tube: Tube) -> dict[str, Any]:
    """Return the H*(10) response of a design's middle, relative to Cs-137 and in counts per µSv.

    Raises:
        UserError: if it cannot be a tube.
    """
    from counterproof.kit.to_tube import tube_model
    from counterproof.physics.tube.model import TubeModel
    from counterproof.physics.tube.response import response_curve
    from counterproof.workshop.responses import side_angle

    middle = TubeModel(tube_model(tube).nominal)
    curve = response_curve(middle, ENERGIES_KEV, angle_deg=side_angle(tube), method="kernel")
    counts = np.asarray(curve.counts_per_usv)
    reference = float(counts[CS137_AT])
    relative = counts / reference if reference > 0.0 else np.full(counts.size, np.nan)
    return {
        "kev": list(ENERGIES_KEV),
        "relative": [float(f"{v:.4g}") for v in relative],
        "cpm_per_usv_h": reference / 60.0,
    }


def recovery_of(tube: Tube, cable: str, resistor: str, at: str) -> dict[str, Any]:
    """Return how the anode recovers after a pulse, with a cable before or behind the resistor.

    Args:
        tube: whose capacitance counts.
        cable: its length, such as ``"30 cm"``; of a usual coaxial cable.
        resistor: such as ``"4.7 Mohm"``.
        at: ``"tube"`` or ``"box"``: the end of the cable at which the resistor sits.

    Raises:
        UserError: if a quantity cannot be read.
    """
    from counterproof.circuits.pulse import charge_limits, recharge_time_s

    ohm = parse_quantity(resistor, "ohm")
    metres = parse_quantity(cable, "m")
    stated = tube.datasheet.capacitance_pf
    own = stated.middle * 1e-12 if stated is not None and stated.middle > 0.0 else USUAL_TUBE_F
    loaded = own + (metres * PF_PER_M * 1e-12 if at == "box" else 0.0)
    until = float(recharge_time_s(ohm, loaded))
    bare = float(recharge_time_s(ohm, own))
    span = 1.3 * max(until, 2.0 * bare)
    times = np.linspace(0.0, span, 60)
    limits = charge_limits(100.0, loaded, own)
    return {
        "us": [float(f"{1e6 * t:.4g}") for t in times],
        "back": [float(f"{v:.4g}") for v in 1.0 - np.exp(-times / (ohm * loaded))],
        "alone": [float(f"{v:.4g}") for v in 1.0 - np.exp(-times / (ohm * own))],
        "recovery_us": 1e6 * until,
        "most_charge": float(limits.fixed_drop_c / limits.fixed_charge_c),
    }
