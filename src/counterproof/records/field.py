"""What ``counterproof field SOURCE.toml --json`` prints."""

from __future__ import annotations

from typing import Literal

from counterproof.records.base import Measured, Number, Part, Record


class BudgetLine(Part):
    """One component of an uncertainty budget: relative standard uncertainty."""

    name: str
    relative_u: float
    source: str


class DoseRate(Measured):
    """A dose rate with its budget.

    ``u`` is null when the source's uncertainty is not stated; ``u_without_activity`` holds
    everything else.
    """

    u_without_activity: Number = None
    budget: tuple[BudgetLine, ...] = ()
    unknown: tuple[str, ...] = ()


class PhotonSpectrum(Part):
    """Photon fluence rates: lines, then groups of scattered photons and bremsstrahlung."""

    energy_kev: list[float]
    fluence_rate_per_cm2_s: list[float]
    kind: list[str]


class ElectronSpectrum(Part):
    """Electron fluence rate per energy at the middles of bins, and the bins' edges."""

    energy_kev: list[float]
    fluence_rate_per_cm2_s_kev: list[float]
    edges_kev: list[float]


class Handling(Part):
    """Dose rates to fingers that hold the source and to eyes above it, µSv/h, upper estimates."""

    fingers_usv_h: Number
    fingers_cm: float
    eyes_usv_h: Number
    eyes_cm: float


class FieldReport(Record):
    """The field of a source at a position.

    ``h10_usv_h`` is H*(10) of photons alone, ``h007_usv_h`` H'(0.07) of electrons alone. Where the
    activity is unknown (``activity_known`` false) all rates are per becquerel of ``lead``.
    """

    kind: Literal["field"] = "field"
    source: str
    lead: str
    activity_known: bool
    activities_bq: dict[str, float]
    date: str | None
    distance_cm: float
    angle_deg: float
    absorbers: list[str]
    air_kerma_ugy_h: DoseRate
    exposure_mr_h: DoseRate
    h10_usv_h: DoseRate
    h007_usv_h: DoseRate
    photons: PhotonSpectrum
    electrons: ElectronSpectrum
    handling: Handling
    coefficients: str
    cautions: list[str]
