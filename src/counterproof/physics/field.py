"""From a source to a field: what arrives at a position, and the dose rates there.

:func:`field` takes a source, distances, absorbers and a date and gives photon lines, the electron
spectrum and dose rates for every distance at once; :func:`ladder` is the short way to expected
dose rates over distances.

Photons: uncollided lines with inverse square, self-absorption, cover, absorbers and air (NIST
XCOM, coherent scattering included); photons scattered once in cover, matrix and absorbers, and
their fluorescence; bremsstrahlung of the source's electrons. Electrons:
:mod:`counterproof.physics.electrons`. Air is dry at 20 °C and 101.325 kPa. Distances run from the
source's centre. What air, bench, floor and hands scatter is not there: it adds some per cent at a
few decimetres.
"""

from __future__ import annotations

import datetime as dt
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray

from counterproof.errors import UserError
from counterproof.physics import attenuation, dose
from counterproof.physics.budget import FieldBudget, dose_budget
from counterproof.physics.electrons import bremsstrahlung, transport
from counterproof.physics.emissions import source_spectrum
from counterproof.physics.fluorescence import fluorescence_around, fluorescence_behind
from counterproof.physics.geometry import View, view
from counterproof.physics.materials import material
from counterproof.physics.scatter import scattered_in_cover, scattered_once
from counterproof.physics.sheets import Sheet
from counterproof.physics.sources import SourceTerm
from counterproof.quantities import Estimate
from counterproof.texts import text

Array = NDArray[np.float64]

PHOTON_CUT_KEV = 5.0
"""Photons below are left out: a few millimetres of air or any cover stop them."""
_GROUPS = 48
_SELF_DEPTHS = 8


@dataclass(frozen=True)
class Field:
    """The field of a source at one or more distances.

    Args:
        source: the source.
        date: the date it is meant for; ``None`` is the reference date.
        distances_cm: shape (d,).
        photon_kev: shape (n,): lines, then single-scatter and bremsstrahlung groups.
        photon_kind: ``"gamma"``, ``"X"``, ``"annihilation"``, ``"scattered"``,
            ``"fluorescence"`` or ``"bremsstrahlung"`` of each.
        photon_fluence_rate: shape (d, n), 1/(cm² s).
        electron_kev: middles of the electron bins, shape (m,).
        electron_edges_kev: their edges, shape (m + 1,).
        electron_fluence_rate_kev: shape (d, m), 1/(cm² s keV).
        air_kerma_ugy_h: shape (d,), photons.
        exposure_mr_h: shape (d,), photons.
        h10_usv_h: shape (d,), H*(10) of photons alone.
        h007_usv_h: shape (d,), H'(0.07) of electrons alone.
        budgets: by quantity (``"air_kerma_ugy_h"``, …), relative components at each distance.
        activities_bq: what the source holds on the date.
    """

    source: SourceTerm
    date: dt.date | None
    distances_cm: Array
    photon_kev: Array
    photon_kind: tuple[str, ...]
    photon_fluence_rate: Array
    electron_kev: Array
    electron_edges_kev: Array
    electron_fluence_rate_kev: Array
    air_kerma_ugy_h: Array
    exposure_mr_h: Array
    h10_usv_h: Array
    h007_usv_h: Array
    budgets: dict[str, FieldBudget]
    activities_bq: dict[str, float]

    @property
    def activity_known(self) -> bool:
        """Whether rates are absolute; otherwise they are per becquerel of the leading nuclide."""
        return self.source.activity_bq is not None

    def estimate(self, quantity: str, index: int = 0) -> Estimate:
        """Dose rate with uncertainty at one of the distances.

        Args:
            quantity: ``"air_kerma_ugy_h"``, ``"exposure_mr_h"``, ``"h10_usv_h"`` or
                ``"h007_usv_h"``.
            index: of the distance.

        An unknown uncertainty of the activity makes the estimate's uncertainty infinite.
        """
        value = float(getattr(self, quantity)[index])
        budget = self.budgets[quantity]
        u = value * budget.relative_u(index) if value else 0.0
        if self.activity_known and self.source.activity_relative_u is None and value:
            u = np.inf
        unit = {"air_kerma_ugy_h": "µGy/h", "exposure_mr_h": "mR/h"}.get(quantity, "µSv/h")
        if not self.activity_known:
            unit += "/Bq"
        low = max(value - 1.959964 * u, 0.0)
        return Estimate(value, u, low, value + 1.959964 * u, 0.95, unit, None, "physics")


def reach_cm(source: SourceTerm) -> float:
    """How far the source and its cover reach towards the detector."""
    own = source.length_cm / 2.0 if source.form in ("disc", "cylinder") else 0.0
    return own + sum(layer.thickness_cm for layer in source.cover)


def _check(source: SourceTerm, distances: Array, absorbers: Sequence[Sheet]) -> float:
    """Refuse what cannot stand on a bench; thickness of all solids in cm."""
    nearest = float(distances.min()) if distances.size else 0.0
    if not distances.size or not np.isfinite(distances).all() or nearest <= 0.0:
        raise UserError(text("physics.distance", value=f"{nearest:g}"))
    reach = reach_cm(source)
    if nearest <= reach:
        raise UserError(text("physics.inside", value=f"{nearest:g}", reach=f"{reach:.3g}"))
    thick = sum(layer.thickness_cm for layer in absorbers)
    if thick > nearest - reach:
        raise UserError(
            text("physics.too_thick", thickness=f"{thick:.3g}", room=f"{nearest - reach:.3g}")
        )
    return reach + thick


def _path(sheets: Sequence[Sheet], energy: Array) -> Array:
    out = np.zeros(energy.size)
    for layer in sheets:
        out += attenuation.total(layer.material, energy) * layer.areal_g_cm2
    return out


def _uncollided(
    source: SourceTerm, seen: View, energy: Array, rate: Array, solids_cm: float,
    absorbers: Sequence[Sheet], cover: bool,
) -> Array:  # fmt: skip
    """Fluence rate of lines at every distance, shape (d, n)."""
    air = material("air")
    air_per_cm = attenuation.total(air, energy) * air.density_g_cm3
    fixed = _path(absorbers, energy)
    over = _path(source.cover, energy) if cover else np.zeros(energy.size)
    in_matrix = (
        attenuation.total(source.matrix, energy) * source.matrix.density_g_cm3
        if cover and source.matrix is not None and seen.matrix_cm.any()
        else None
    )
    out = np.zeros((seen.distance_cm.shape[1], energy.size))
    for inverse, r, slant, inside in zip(*seen, strict=True):
        exponent = np.multiply.outer(np.maximum(r - solids_cm, 0.0), air_per_cm)
        if np.all(slant == 1.0):
            exponent += fixed + over
        else:
            exponent += fixed + np.multiply.outer(slant, over)
        if in_matrix is not None:
            exponent += np.multiply.outer(inside, in_matrix)
        np.negative(exponent, out=exponent)
        np.exp(exponent, out=exponent)
        exponent *= inverse[:, None]
        out += exponent
    out *= rate
    return out


def _grouped(energy: Array, fluence: Array) -> tuple[Array, Array, Array]:
    """Few groups of energy for thousands of lines: edges, means (g,), fluence rates (d, g)."""
    edges = np.geomspace(PHOTON_CUT_KEV, max(float(energy.max()) * 1.001, 10.0), _GROUPS + 1)
    place = np.clip(np.searchsorted(edges, energy, side="right") - 1, 0, _GROUPS - 1)
    order = np.argsort(place, kind="stable")
    used, starts = np.unique(place[order], return_index=True)
    grouped = np.add.reduceat(fluence[:, order], starts, axis=1)
    weighted = np.add.reduceat((fluence * energy)[:, order], starts, axis=1)
    mean = weighted.sum(axis=0) / np.maximum(grouped.sum(axis=0), 1e-300)
    mean = np.clip(mean, edges[used], edges[used + 1])  # of a group that nothing passes
    return edges, mean, grouped


def _secondary(
    layers: Sequence[Sheet], energy: Array, fluence: Array, around: bool
) -> tuple[Array, Array, tuple[str, ...]]:
    """Scattered and fluorescence photons of layers.

    Args:
        layers: the layers.
        energy: lines that pass them, shape (n,).
        fluence: fluence rates of these lines behind the layers, shape (d, n).
        around: whether the layers lie around the source or half-way to the detector.

    Returns:
        Energies (k,), fluence rates (d, k) and kinds.
    """
    if not layers or energy.size == 0:
        return np.zeros(0), np.zeros((fluence.shape[0], 0)), ()
    edges, mean, grouped = _grouped(energy, fluence)
    after, ratio = (scattered_in_cover if around else scattered_once)(layers, mean)
    bins = np.clip(np.searchsorted(edges, after, side="right") - 1, 0, _GROUPS - 1)
    matrix = np.zeros((mean.size, _GROUPS))
    energy_sum = np.zeros((mean.size, _GROUPS))
    for i in range(mean.size):
        kept = np.where(after[i] >= PHOTON_CUT_KEV, ratio[i], 0.0)
        matrix[i] = np.bincount(bins[i], kept, _GROUPS)
        energy_sum[i] = np.bincount(bins[i], kept * after[i], _GROUPS)
    out = grouped @ matrix
    total = out.sum(axis=0)
    some = np.flatnonzero(total > 0.0)
    means = (grouped @ energy_sum).sum(axis=0)[some] / total[some]
    line_kev, per_photon = (fluorescence_around if around else fluorescence_behind)(layers, mean)
    kinds = ("scattered",) * some.size + ("fluorescence",) * line_kev.size
    return (
        np.concatenate([means, line_kev]),
        np.concatenate([out[:, some], grouped @ per_photon], axis=1),
        kinds,
    )


def _electrons(
    source: SourceTerm, seen: View, edges: Array, rate: Array, distances: Array,
    solids_cm: float, absorbers: Sequence[Sheet], angle_deg: float,
) -> tuple[Array, Array]:  # fmt: skip
    """Electron fluence rates per bin (d, m), and electrons per bin that leave the matrix (m,)."""
    slant = 1.0 / max(np.cos(np.radians(angle_deg)), np.cos(np.radians(80.0)))
    cover = [
        Sheet(s.material, s.thickness_cm * (slant if source.form == "disc" else 1.0))
        for s in source.cover
    ]
    thickness = source.length_cm if source.form in ("disc", "cylinder") else 0.0
    if source.matrix is not None and thickness > 0.0:
        # depth below the face; what lies deeper than the range sends nothing
        top = transport.longest_range_g_cm2(source.matrix, edges) / source.matrix.density_g_cm3
        deep = min(thickness, top)
        nodes, weights = np.polynomial.legendre.leggauss(_SELF_DEPTHS)
        leaving = np.zeros_like(rate)
        for x, w in zip((nodes + 1.0) / 2.0, weights / 2.0, strict=True):
            layers = [Sheet(source.matrix, x * deep), *cover]
            leaving += w * deep / thickness * transport.through_cover(layers, edges, rate)
    elif source.form == "disc":
        leaving = transport.through_cover(cover, edges, rate)
    else:
        leaving = transport.around(cover, edges, rate)
    paths = np.maximum((seen.inverse_square * seen.distance_cm).sum(axis=0), 0.0)
    geometric = seen.inverse_square.sum(axis=0)
    mean_r = paths / geometric
    arriving = transport.in_air(np.maximum(mean_r - solids_cm, 0.0), edges, leaving)
    arriving = transport.behind(absorbers, edges, arriving)
    return arriving * geometric[:, None], leaving


def field(
    source: SourceTerm,
    distances_cm: ArrayLike,
    *,
    absorbers: Sequence[Sheet] = (),
    date: dt.date | None = None,
    angle_deg: float = 0.0,
    distance_u_cm: float = 0.05,
    electrons: bool = True,
) -> Field:
    """Compute the field of a source.

    Args:
        source: what emits.
        distances_cm: from its centre, scalar or shape (d,).
        absorbers: plates at right angles to the line of sight, between source and detector.
        date: the date wanted; the reference date when ``None``.
        angle_deg: between the source's axis and the line of sight.
        distance_u_cm: standard uncertainty of the distances, for the budget.
        electrons: leave them (and their bremsstrahlung) out where only photons are asked for.

    Raises:
        UserError: impossible distance, absorber thicker than the room for it, date before the
            reference date.
    """
    distances = np.atleast_1d(np.asarray(distances_cm, dtype=np.float64))
    solids = _check(source, distances, absorbers)
    held = source.inventory(date)
    emitted = source_spectrum(held.activities_bq)
    seen = view(source, distances, angle_deg)

    lines = emitted.photon_kev >= PHOTON_CUT_KEV
    energy, rate = emitted.photon_kev[lines], emitted.photon_per_s[lines]
    kinds = [k for k, use in zip(emitted.photon_kind, lines, strict=True) if use]
    fluence = _uncollided(source, seen, energy, rate, solids, absorbers, cover=True)
    capsule = list(source.cover)
    if source.matrix is not None and source.length_cm > 0.0:
        capsule.insert(0, Sheet(source.matrix, source.length_cm / 2.0))
    leaving_lines = (rate * np.exp(-_path(capsule, energy)))[None, :]
    cover_kev, cover_rate, cover_kinds = _secondary(capsule, energy, leaving_lines, around=True)
    in_cover = _uncollided(source, seen, cover_kev, cover_rate[0], solids, absorbers, cover=False)
    plate_kev, in_plates, plate_kinds = _secondary(absorbers, energy, fluence, around=False)

    edges = emitted.electron_edges_kev
    middle = (edges[1:] + edges[:-1]) / 2.0
    brems_kev, brems = np.zeros(0), np.zeros((distances.size, 0))
    if electrons and emitted.electron_per_s.any():
        arriving, leaving = _electrons(
            source, seen, edges, emitted.electron_per_s, distances, solids, absorbers, angle_deg
        )
        k_edges = bremsstrahlung.photon_edges_kev(float(edges[-1]))
        brems_kev = np.sqrt(k_edges[1:] * k_edges[:-1])
        born, _ = bremsstrahlung.from_layers(capsule, middle, emitted.electron_per_s, k_edges)
        brems = _uncollided(source, seen, brems_kev, born, solids, absorbers, cover=False)
        stopped, _ = bremsstrahlung.from_layers(absorbers, middle, leaving, k_edges)
        brems += _uncollided(source, seen, brems_kev, stopped, solids, (), cover=False)
    else:
        arriving = np.zeros((distances.size, middle.size))

    kev = np.concatenate([energy, cover_kev, plate_kev, brems_kev])
    all_rates = np.concatenate([fluence, in_cover, in_plates, brems], axis=1)
    kinds += [*cover_kinds, *plate_kinds, *(["bremsstrahlung"] * brems_kev.size)]
    kerma_per = dose.air_kerma_per_fluence(kev)
    h10_per = kerma_per * dose.h10_per_air_kerma(kev)
    exposure_per = kerma_per * (1.0 - dose.radiated_fraction_air(kev)) * 1e-3
    rates = {
        "air_kerma_ugy_h": all_rates @ kerma_per,
        "exposure_mr_h": all_rates @ exposure_per / dose.GY_PER_ROENTGEN,
        "h10_usv_h": all_rates @ h10_per,
        "h007_usv_h": dose.directional_dose_usv_h(middle, arriving),
    }
    budgets = dose_budget(
        source=source,
        inventory=held,
        distances_cm=distances,
        distance_u_cm=distance_u_cm,
        path=_path([*source.cover, *absorbers], kev),
        kinds=tuple(kinds),
        contributions={
            "air_kerma_ugy_h": (all_rates, kerma_per),
            "exposure_mr_h": (all_rates, exposure_per),
            "h10_usv_h": (all_rates, h10_per),
        },
        covered=bool(source.cover or absorbers),
    )
    return Field(
        source, date, distances, kev, tuple(kinds), all_rates, middle, edges,
        arriving / np.diff(edges), rates["air_kerma_ugy_h"], rates["exposure_mr_h"],
        rates["h10_usv_h"], rates["h007_usv_h"], budgets, held.activities_bq,
    )  # fmt: skip


def ladder(
    source: SourceTerm,
    distances_cm: ArrayLike,
    *,
    absorbers: Sequence[Sheet] = (),
    date: dt.date | None = None,
    distance_u_cm: float = 0.05,
) -> list[Estimate]:
    """Expected H*(10) rates over distances, for the dose-rate ladder and source response trials.

    Raises:
        UserError: as :func:`field`.
    """
    found = field(source, distances_cm, absorbers=absorbers, date=date, distance_u_cm=distance_u_cm)
    return [found.estimate("h10_usv_h", i) for i in range(found.distances_cm.size)]
