"""Uncertainty budgets of dose rates: relative standard components at every distance (GUM).

Each component says where its figure comes from. Components that concern a part of the field only
(scattered photons, bremsstrahlung) weigh by that part's share of the dose.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import NDArray

from counterproof.physics.nuclides import Inventory
from counterproof.texts import text

if TYPE_CHECKING:
    from counterproof.physics.sources import SourceTerm

Array = NDArray[np.float64]

YIELDS_U = 0.01
AIR_DATA_U = 0.01
H10_U = 0.02
ATTENUATION_U = 0.02
SCATTER_U = 0.5
BREMSSTRAHLUNG_U = 0.3
ROOM_PER_METRE = 0.03
ELECTRON_TRANSPORT_U = 0.10
ELECTRON_BACKING_U = 0.08
H007_U = 0.10


@dataclass(frozen=True)
class Line:
    """One component: relative standard uncertainty at every distance, shape (d,)."""

    name: str
    relative_u: Array
    source: str


@dataclass(frozen=True)
class FieldBudget:
    """The components of one dose rate; they are independent and add in quadrature."""

    lines: tuple[Line, ...]
    unknown: tuple[str, ...] = ()

    def relative_u(self, index: int = 0, without: str = "") -> float:
        """Combined relative standard uncertainty at a distance, without what is unknown.

        Args:
            index: of the distance.
            without: name of a component to leave out.
        """
        squares = (
            float(line.relative_u[index]) ** 2 for line in self.lines if line.name != without
        )
        return float(np.sqrt(sum(squares)))


def dose_budget(
    *,
    source: SourceTerm,
    inventory: Inventory,
    distances_cm: Array,
    distance_u_cm: float,
    path: Array,
    kinds: tuple[str, ...],
    contributions: dict[str, tuple[Array, Array]],
    covered: bool,
) -> dict[str, FieldBudget]:
    """Build the budgets of a field.

    Args:
        source: for the activity's uncertainty.
        inventory: for the half-life's part.
        distances_cm: shape (d,).
        distance_u_cm: standard uncertainty of the distance.
        path: optical path of cover and absorbers for every photon energy, shape (n,).
        kinds: kind of every photon group.
        contributions: by quantity, fluence rates (d, n) and dose per fluence (n,).
        covered: whether electrons pass any layer.
    """
    ones = np.ones(distances_cm.size)
    unknown: tuple[str, ...] = ()
    common: list[Line] = []
    if source.activity_bq is None:
        unknown = (text("field.budget.scale_unknown"),)
    elif source.activity_relative_u is None:
        unknown = (text("field.budget.activity_unknown"),)
    else:
        common.append(
            Line(
                text("field.budget.activity"),
                ones * source.activity_relative_u,
                text("field.budget.stated"),
            )
        )
    common.append(
        Line(
            text("field.budget.half_life"),
            ones * inventory.decay_relative_u,
            text("field.budget.half_life_source"),
        )
    )
    common.append(
        Line(
            text("field.budget.distance"),
            2.0 * distance_u_cm / distances_cm,
            text("field.budget.distance_source", mm=f"{distance_u_cm * 10:g}"),
        )
    )
    common.append(
        Line(text("field.budget.yields"), ones * YIELDS_U, text("field.budget.yields_source"))
    )
    out: dict[str, FieldBudget] = {}
    is_scattered = np.array([kind in ("scattered", "fluorescence") for kind in kinds])
    is_brems = np.array([kind == "bremsstrahlung" for kind in kinds])
    for quantity, (fluence, per) in contributions.items():
        whole = np.maximum(fluence @ per, 1e-300)
        lines = [*common]
        mean_path = (fluence @ (per * path)) / whole
        lines.append(
            Line(
                text("field.budget.attenuation"),
                mean_path * ATTENUATION_U,
                text("field.budget.attenuation_source"),
            )
        )
        for name, mask, relative in (
            ("scattered", is_scattered, SCATTER_U),
            ("bremsstrahlung", is_brems, BREMSSTRAHLUNG_U),
        ):
            share = (fluence[:, mask] @ per[mask]) / whole if mask.any() else 0.0 * ones
            lines.append(
                Line(
                    text(f"field.budget.{name}"),
                    share * relative,
                    text(f"field.budget.{name}_source"),
                )
            )
        lines.append(
            Line(
                text("field.budget.room"),
                ROOM_PER_METRE * np.minimum(distances_cm / 100.0, 3.0),
                text("field.budget.room_source"),
            )
        )
        lines.append(
            Line(
                text("field.budget.air_data"),
                ones * AIR_DATA_U,
                text("field.budget.air_data_source"),
            )
        )
        if quantity == "h10_usv_h":
            lines.append(
                Line(text("field.budget.h10"), ones * H10_U, text("field.budget.h10_source"))
            )
        out[quantity] = FieldBudget(tuple(lines), unknown)
    electron = [*common]
    for key, value in (
        ("electron_transport", ELECTRON_TRANSPORT_U if covered else ELECTRON_TRANSPORT_U / 2.0),
        ("electron_backing", ELECTRON_BACKING_U),
        ("h007", H007_U),
    ):
        electron.append(
            Line(
                text(f"field.budget.{key}"),
                ones * value,
                text(f"field.budget.{key}_source"),
            )
        )
    out["h007_usv_h"] = FieldBudget(tuple(electron), unknown)
    return out
