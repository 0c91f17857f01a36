"""From a field's spectra to a count rate: photons, betas and natural background.

Areas of a parallel beam are folded with the fluence at the tube's middle; that a near source is no
parallel beam is made good by :func:`~counterproof.physics.tube.response.near_factor` at the energy
that contributes most. Dead time is not applied.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np

from counterproof.physics.background import CHARGED_PER_CM2_S, Background
from counterproof.physics.electrons import bremsstrahlung
from counterproof.physics.field import Field
from counterproof.physics.sheets import Sheet
from counterproof.physics.tube.bodies import side_layers
from counterproof.physics.tube.geometry import Tube
from counterproof.physics.tube.ionisation import RELATIVE_U, primary_ionisation_per_cm
from counterproof.physics.tube.layout import Array
from counterproof.physics.tube.model import TubeModel
from counterproof.physics.tube.response import (
    DEFAULT_METHOD,
    HIGHEST_KEV,
    LOWEST_KEV,
    Curve,
    Method,
    electron_curve,
    near_factor,
    response_curve,
)
from counterproof.progress import Report, silent

_POINTS = 24
_BREMSSTRAHLUNG_U = 0.3
_CHARGED_U = 0.2  # flux of cosmic muons at a place, and their angles


@dataclass(frozen=True)
class Part:
    """One part of a count rate in 1/s with its standard uncertainty."""

    counts_per_s: float
    u: float


@dataclass(frozen=True)
class Prediction:
    """What a tube should count at a place.

    Args:
        photon: counts of photons.
        beta: counts of electrons that enter from outside.
        background: natural background, source apart.
        near: factor for a near source, photons.
    """

    photon: Part
    beta: Part
    background: Part
    near: float


def _nodes(energy: Array, weight: Array, points: int) -> Array:
    """Energies for a curve that covers where ``weight`` is."""
    use = (weight > 0.0) & (energy >= LOWEST_KEV) & (energy <= HIGHEST_KEV)
    if not use.any():
        return np.zeros(0)
    low, high = float(energy[use].min()), float(energy[use].max())
    if high <= low * 1.0001:
        return np.array([low])
    return np.clip(np.geomspace(low, high, points), LOWEST_KEV, HIGHEST_KEV)


def fold(curve: Curve, energy_kev: Array, fluence_rate: Array) -> Part:
    """Counts per second of a spectrum of discrete energies, with the curve's uncertainties.

    Model uncertainty is taken as common to all energies, statistical as independent.
    """
    use = (energy_kev >= LOWEST_KEV) & (energy_kev <= HIGHEST_KEV)
    rate = fluence_rate[use] * curve.area_at(energy_kev[use])
    total = float(rate.sum())
    if total <= 0.0:
        return Part(0.0, 0.0)
    model = float((rate * curve.u_model_at(energy_kev[use])).sum())
    share = curve.u_stat_effective_area_cm2 / np.maximum(curve.effective_area_cm2, 1e-300)
    stat = total * float(np.median(share)) / math.sqrt(max(1, min(curve.energy_kev.size, 4)))
    return Part(total, math.hypot(model, stat))


def charged_rate(tube: Tube, per_cm2_s: float = CHARGED_PER_CM2_S) -> Part:
    """Counts per second of cosmic muons: all of them cross every wall.

    Isotropic mean projected area S/4 of the gas times the mean of 1 − exp(−n·chord), chords taken
    as exponential about their mean 4V/S.
    """
    r, length = tube.radius_cm, tube.length_cm
    surface = 2.0 * math.pi * r * (r + length)
    volume = math.pi * r * r * length
    chord = 4.0 * volume / surface
    # a muon of some GeV ionises like an electron of equal velocity, near the minimum and above
    n = float(primary_ionisation_per_cm(tube.gas, np.array([3000.0]))[0])
    seen = n * chord / (1.0 + n * chord)
    rate = per_cm2_s * surface / 4.0 * seen
    u = math.hypot(_CHARGED_U, RELATIVE_U * (1.0 - seen))
    return Part(rate, rate * u)


def predict(
    tube: TubeModel,
    at: Field,
    index: int,
    *,
    angle_deg: float,
    natural: Background | None,
    precision: float = 0.02,
    seed: int = 1,
    method: Method = DEFAULT_METHOD,
    report: Report = silent,
) -> Prediction:
    """Predict the count rate at one distance of a field.

    Args:
        tube: the tube.
        at: the field; its distances run to the middle of the gas.
        index: which distance.
        angle_deg: between the tube's axis and the way to the source.
        natural: the background, or ``None`` to leave it out.
        precision: of the curves.
        seed: of the streams.
        method: as for :func:`response_curve`.
        report: progress.

    Raises:
        UserError: if the source would lie inside the tube.
        Cancelled: if ``report`` says so.
    """
    photon, near = photon_part(
        tube, at, index, angle_deg=angle_deg, precision=precision, seed=seed, method=method,
        report=report,
    )  # fmt: skip
    beta = electron_part(
        tube, at, index, angle_deg=angle_deg, precision=precision, seed=seed, method=method,
        report=report,
    )  # fmt: skip
    back = Part(0.0, 0.0)
    if natural is not None:
        back = background_rate(tube, natural, precision=precision, seed=seed, method=method)
    return Prediction(photon, beta, back, near)


def photon_part(
    tube: TubeModel,
    at: Field,
    index: int,
    *,
    angle_deg: float,
    precision: float,
    seed: int = 1,
    method: Method = DEFAULT_METHOD,
    report: Report = silent,
) -> tuple[Part, float]:
    """Counts per second of a field's photons, and the factor for a near source in it."""
    own = at.photon_kev.size
    born_kev, born = wall_bremsstrahlung(tube.nominal, at, index, angle_deg)
    kev = np.concatenate([at.photon_kev, born_kev])
    rate = np.concatenate([at.photon_fluence_rate[index], born])
    nodes = _nodes(kev, rate, _POINTS)
    if not nodes.size:
        return Part(0.0, 0.0), 1.0
    curve = response_curve(
        tube, nodes, angle_deg=angle_deg, precision=precision, seed=seed, method=method,
        report=report,
    )  # fmt: skip
    use = (kev >= LOWEST_KEV) & (kev <= HIGHEST_KEV)
    weight = rate[use] * curve.area_at(kev[use])
    main = float((weight * kev[use]).sum() / max(weight.sum(), 1e-300)) or float(nodes[0])
    near = near_factor(
        tube.nominal, float(at.distances_cm[index]), energy_kev=max(main, LOWEST_KEV),
        angle_deg=angle_deg, radius_cm=at.source.diameter_cm / 2.0, seed=seed, method=method,
    )  # fmt: skip
    part = fold(curve, kev[:own], rate[:own])
    of_wall = fold(curve, kev[own:], rate[own:])
    u = math.hypot(part.u, of_wall.u, _BREMSSTRAHLUNG_U * of_wall.counts_per_s)
    return Part((part.counts_per_s + of_wall.counts_per_s) * near, u * near), near


def wall_bremsstrahlung(tube: Tube, at: Field, index: int, angle_deg: float) -> tuple[Array, Array]:
    """Photons that a field's electrons make where they stop in the tube's own layers.

    They are taken to go on as their electrons did, so that they meet the whole wall as a beam does.

    Returns:
        Energies in keV and the fluence rate in 1/(cm² s), both of shape (n,).
    """
    kev = at.electron_kev
    number = at.electron_fluence_rate_kev[index] * np.diff(at.electron_edges_kev)
    if not number.any():
        return np.zeros(0), np.zeros(0)
    layers = side_layers(tube)
    if abs(math.sin(math.radians(angle_deg))) < 0.5:
        end = tube.wall.material, tube.wall.thickness_cm
        if tube.window and math.cos(math.radians(angle_deg)) > 0.0:
            end = tube.window.material, tube.window.thickness_cm
        layers = (end, *((f.material, f.thickness_cm) for f in tube.filters if f.ends))
    edges = bremsstrahlung.photon_edges_kev(float(at.electron_edges_kev[-1]))
    sheets = [Sheet(m, x) for m, x in reversed(layers)]
    born, _ = bremsstrahlung.from_layers(sheets, kev, number, edges, attenuate=False)
    return np.sqrt(edges[1:] * edges[:-1]), born


def electron_part(
    tube: TubeModel,
    at: Field,
    index: int,
    *,
    angle_deg: float,
    precision: float,
    seed: int = 1,
    method: Method = DEFAULT_METHOD,
    report: Report = silent,
) -> Part:
    """Counts per second of a field's electrons that enter from outside."""
    radius = at.source.diameter_cm / 2.0
    widths = np.diff(at.electron_edges_kev)
    kev, rate = at.electron_kev, at.electron_fluence_rate_kev[index] * widths
    nodes = _nodes(kev, rate, _POINTS)
    if not nodes.size:
        return Part(0.0, 0.0)
    curve = electron_curve(
        tube, nodes, angle_deg=angle_deg, precision=max(precision, 0.02), seed=seed,
        method=method, report=report,
    )  # fmt: skip
    part = fold(curve, kev, rate)
    if part.counts_per_s <= 0.0:
        return part
    use = (kev >= LOWEST_KEV) & (kev <= HIGHEST_KEV)
    weight = rate[use] * curve.area_at(kev[use])
    main = float((weight * kev[use]).sum() / weight.sum())
    near = near_factor(
        tube.nominal, float(at.distances_cm[index]), energy_kev=main, angle_deg=angle_deg,
        radius_cm=radius, electrons=True, seed=seed, method=method,
    )  # fmt: skip
    return Part(part.counts_per_s * near, part.u * near)


def background_rate(
    tube: TubeModel,
    natural: Background,
    *,
    precision: float = 0.03,
    seed: int = 1,
    method: Method = DEFAULT_METHOD,
) -> Part:
    """Counts per second of natural background: terrestrial photons from all around and muons."""
    nodes = _nodes(natural.photon_kev, natural.photon_fluence_rate, 12)
    curve = response_curve(
        tube, nodes, angle_deg=None, precision=precision, seed=seed, method=method
    )
    ground = fold(curve, natural.photon_kev, natural.photon_fluence_rate)
    muons = charged_rate(tube.nominal, natural.charged_fluence_rate)
    return Part(
        ground.counts_per_s + muons.counts_per_s,
        math.hypot(
            ground.u, muons.u, natural.relative_u * (ground.counts_per_s + muons.counts_per_s)
        ),
    )
