"""Invented boxes, tubes and yields for the outlook's tests: no transport is run here."""

import numpy as np

from counterproof.kit.tube import Tube
from counterproof.retrofit.compatibility import compatibility
from counterproof.retrofit.draws import Effects
from counterproof.retrofit.outlook import Candidate

LANTERN = {
    "name": "Lantern", "tube": "own", "role": "under test",
    "supply": {"voltage": "400 V", "regulated": True, "anode_resistor": "4.7 Mohm"},
    "battery": {"capacity": "1000 mAh", "claimed_h": 100.0, "voltage": "3.7 V"},
    "display": [{"quantity": "dose_rate", "unit": "µSv/h", "quantum": 0.01, "window_s": 40.0,
                 "top": 500.0}],
    "setting": [
        {"kind": "factor", "name": "lower factor", "unit": "cpm/(µSv/h)", "value": 110.0,
         "applies": "below the switch"},
        {"kind": "factor", "name": "factor", "unit": "cpm/(µSv/h)", "value": 190.0, "low": 60.0,
         "high": 400.0, "step": 5.0, "applies": "above the switch"},
        {"kind": "threshold", "unit": "cpm", "value": 66.0},
    ],
}  # fmt: skip
SHEET = {
    "start_v": 320, "plateau_low_v": 360, "plateau_high_v": 460, "recommended_v": 400,
    "maximum_v": 480, "dead_time_us": 90, "anode_resistor_mohm": 4.7, "capacitance_pf": 4,
}  # fmt: skip


def tube_named(name, **sheet):
    given = {k: v for k, v in (SHEET | sheet).items() if v is not None}
    return Tube.model_validate(
        {"name": name, "outer_diameter_mm": 10, "length_mm": 90, "datasheet": given}
    )


def effects_of(caesium, background, photon, beta, spread=1.5, energy=(3.0, 1.0, 1.1), sheet=None):
    """Two unknowns: one scales everything by ``spread`` at its ends, one the betas alone."""
    names = ["caesium", "background", "photon:cs", "beta:cs", "E:60", "E:662", "E:1250"]
    values = [caesium, background, photon, beta, *(caesium * e for e in energy)]
    if sheet is not None:
        names.append("sheet")
        values.append(sheet)
    nominal = np.array(values, dtype=np.float64)
    low = np.tile(nominal, (2, 1))
    high = low.copy()
    low[0] /= spread
    high[0] *= spread
    low[1, 3] /= spread
    high[1, 3] *= spread
    return Effects(tuple(names), nominal, low, high, 0.03, np.full(nominal.size, 0.01))


def candidate(
    name, instrument, *, today=False, sheet_per_s=None, electrons=0.0, tube=None, **yields
):
    own = tube or tube_named(name)
    return Candidate(
        name, own, None, compatibility(instrument, own), effects_of(**yields), 20.0,
        (60.0, 662.0, 1250.0), {"cs": electrons}, sheet_per_s, (), today,
    )  # fmt: skip
