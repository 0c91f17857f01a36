"""What ``counterproof filter --json`` prints: an energy-compensating filter."""

from __future__ import annotations

from typing import Literal

from counterproof.records.base import Measured, Part, Record
from counterproof.records.outcome import Chart


class FoilLayer(Part):
    """One sleeve, from the tube outwards."""

    material: str
    thickness_mm: float


class FilterReport(Record):
    """A filter around a tube as the transport sees it.

    ``departure`` is the response relative to caesium that departs most; ``kept`` the share of the
    sensitivity to caesium that is left. ``within_band`` is the share of all filters that stay in
    the band when foil, slots and tube vary; ``confirmed`` holds the departure by the Monte Carlo
    where that was asked for.
    """

    kind: Literal["filter"] = "filter"
    tube: str
    layers: tuple[FoilLayer, ...]
    open_fraction: float
    band: float
    met: bool
    statement: str
    departure: Measured
    kept: Measured
    bare_departure: float
    within_band: float
    departure_interval: tuple[float, float]
    confirmed: Measured | None = None
    confirmed_kept: Measured | None = None
    chart: Chart
    rounds: int
    cpu_s: float
    unknown: tuple[str, ...] = ()
    assumptions: tuple[str, ...] = ()
    cautions: tuple[str, ...] = ()
