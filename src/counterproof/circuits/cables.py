"""Capacitance of cables and of a tube, and which of it loads the anode.

The resistor decides: what lies on the tube's side of it must be recharged through it after every
pulse; what lies on the supply's side only helps the supply. So a resistor left in the box puts the
whole cable on the anode, a resistor moved to the tube takes it off again.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Literal

import numpy as np
from numpy.typing import ArrayLike
from scipy.constants import epsilon_0

from counterproof.circuits.checks import Floats, not_negative, positive
from counterproof.errors import UserError
from counterproof.texts import text

ResistorAt = Literal["tube", "box"]


@dataclass(frozen=True, slots=True)
class CableKind:
    """A coaxial cable by the designation of an open standard.

    Args:
        pf_per_m: lowest and highest usual capacitance in pF/m.
        impedance_ohm: characteristic impedance.
        source: where the figures come from.
    """

    pf_per_m: tuple[float, float]
    impedance_ohm: float
    source: str = "from memory of manufacturers' tables; check the sheet of the cable in hand"

    @property
    def middle_f_per_m(self) -> float:
        """Middle of the range in farads per metre."""
        return 0.5e-12 * sum(self.pf_per_m)


CABLES: dict[str, CableKind] = {
    "RG-58": CableKind((95.0, 102.0), 50.0),
    "RG-174": CableKind((100.0, 102.0), 50.0),
    "RG-59": CableKind((67.0, 69.0), 75.0),
    "RG-6": CableKind((53.0, 68.0), 75.0),
}
"""Usual capacitances per metre, from memory. Foamed insulation has the lower, solid polyethylene
the higher figure. No voltage ratings: they belong to the maker's sheet, and to the connector's."""


def cable_kind(name: str) -> CableKind:
    """Return the table's entry for a designation such as ``"RG-58"``, ``"rg 58"`` or ``"RG58/U"``.

    Raises:
        UserError: if the table has no such cable; the sentence lists those it has.
    """
    wanted = "".join(c for c in name.upper().split("/")[0] if c.isalnum())
    for key, kind in CABLES.items():
        if wanted == key.replace("-", ""):
            return kind
    raise UserError(text("circuits.no_cable", name=name, known=", ".join(CABLES)))


def coaxial_capacitance_f(
    inner_radius_m: ArrayLike,
    outer_radius_m: ArrayLike,
    length_m: ArrayLike,
    relative_permittivity: float = 1.0,
) -> Floats:
    """Capacitance 2πε₀ε L / ln(b/a) of coaxial cylinders without their ends; any common shape, F.

    For a counting tube (wire ``a`` in cathode ``b``) it is a lower bound: pins and clips add
    stray capacitance. From first principles (Gauss's law).

    Raises:
        UserError: if a length is not positive or the inner radius is not the smaller one.
    """
    a, b = positive("radius", inner_radius_m), positive("radius", outer_radius_m)
    if np.any(a >= b):
        raise UserError(text("circuits.radii"))
    length = positive("length", length_m)
    return np.asarray(2 * math.pi * epsilon_0 * relative_permittivity * length / np.log(b / a))


@dataclass(frozen=True, slots=True)
class Loading:
    """Where the capacitance lies.

    Args:
        anode_f: what the anode resistor has to recharge after a pulse.
        supply_f: what lies behind the resistor and steadies the supply.
    """

    anode_f: float
    supply_f: float


def loading(
    tube_f: float,
    stray_f: float = 0.0,
    cable_f: float = 0.0,
    resistor_at: ResistorAt = "tube",
) -> Loading:
    """Split the capacitances by the side of the resistor they lie on; from first principles.

    Args:
        tube_f: anode to cathode of the tube, its pins and clips.
        stray_f: further capacitance on the anode (socket, wiring, the unused half of a
            changeover switch).
        cable_f: the whole cable.
        resistor_at: the end of the cable at which the anode resistor sits.

    Raises:
        UserError: if the tube's capacitance is not positive or another one negative.
    """
    tube = float(positive("capacitance", tube_f))
    near = tube + float(not_negative("capacitance", stray_f))
    cable = float(not_negative("capacitance", cable_f))
    return Loading(near + cable, 0.0) if resistor_at == "box" else Loading(near, cable)
