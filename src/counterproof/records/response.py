"""What ``counterproof response`` and ``counterproof predict`` print with ``--json``."""

from __future__ import annotations

from typing import Literal

from counterproof.records.base import Number, Part, Record


class DatasheetScale(Part):
    """The data sheet's sensitivity beside the physics', both in counts per µSv of H*(10)."""

    nuclide: str
    stated: str
    stated_counts_per_usv: float
    physics_counts_per_usv: float
    stated_over_physics: float
    coefficients: tuple[str, ...] = ()


class TubeResponse(Record):
    """Response of a tube over photon energy; all lists have one entry per energy.

    ``u_stat_…`` are statistical, ``u_model_…`` systematic standard uncertainties: transport, cross
    sections, primary ionisation and what is unknown of the tube.
    """

    kind: Literal["tube_response"] = "tube_response"
    tube: str
    method: Literal["mc", "kernel"]
    angle_deg: Number
    energy_kev: list[float]
    effective_area_cm2: list[float]
    u_stat_effective_area_cm2: list[float]
    u_model_effective_area_cm2: list[float]
    entry_area_cm2: list[float]
    u_stat_entry_area_cm2: list[float]
    u_model_entry_area_cm2: list[float]
    counts_per_usv: list[float]
    counts_per_ugy: list[float]
    relative_to_cs137: list[float]
    unknown: list[str]
    datasheet: DatasheetScale | None = None
    cpu_s: float


class RateComponent(Part):
    """One part of a predicted count rate, counts per second."""

    name: Literal["photon", "beta", "background", "total"]
    counts_per_s: float
    u_counts_per_s: Number
    datasheet_scale_counts_per_s: Number = None


class TubePrediction(Record):
    """Count rate of a tube near a source, by component.

    Where the source's activity is unknown the rates of photons and betas are per becquerel. The
    data-sheet scale multiplies photons and background by what the sheet's sensitivity is over the
    physics'; betas have no such scale.
    """

    kind: Literal["tube_prediction"] = "tube_prediction"
    tube: str
    source: str
    distance_cm: float
    angle_deg: float
    activity_known: bool
    components: tuple[RateComponent, ...]
    h10_usv_h: Number
    counts_per_usv: Number
    near_factor: float
    unknown: list[str]
    datasheet: DatasheetScale | None = None
    cautions: tuple[str, ...] = ()
    cpu_s: float
