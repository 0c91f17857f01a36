"""What physics says a tube counts, and how each unknown of it changes that, for an outlook."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from counterproof.errors import UserError
from counterproof.kit.layers import Filter
from counterproof.kit.probe import Probe
from counterproof.kit.to_tube import design_at, tube_model
from counterproof.kit.tube import Tube
from counterproof.physics.field import Field
from counterproof.physics.tube.geometry import Tube as Body
from counterproof.progress import Report, silent, step
from counterproof.retrofit.draws import QUANTILES, Effects
from counterproof.workshop.responses import side_angle

if TYPE_CHECKING:
    from counterproof.physics.tube.predict import Part
    from counterproof.physics.tube.response import Curve

NODES_KEV = (
    20.0, 32.0, 45.0, 60.0, 80.0, 110.0, 160.0, 250.0, 400.0, 661.657, 1000.0, 1252.0, 1800.0,
    2620.0,
)  # fmt: skip
"""Photon energies at which a tube is computed; sources are folded with what lies between."""
SHOWN_KEV = NODES_KEV[1:12]
ELECTRONS_KEV = tuple(map(float, np.geomspace(60.0, 2400.0, 10)))
_PRECISION, _DESIGN_PRECISION = 0.03, 0.05
_LEAST = 1e-12
_NEAR_KEV = 661.657
"""At this energy a near source is compared with a parallel beam: it is geometry, nearly alike for
all that pass the wall."""


@dataclass(frozen=True)
class Yields:
    """A tube's effects with what the outlook needs beside them."""

    effects: Effects
    electrons_per_s: dict[str, float]
    inner_cm2: float
    unknown: tuple[str, ...]
    sheet_per_s: float | None


@dataclass(frozen=True)
class Place:
    """A field with its key: the source stands at its first distance."""

    key: str
    field: Field


def in_probe(tube: Tube, probe: Probe | None) -> Tube:
    """Return the tube with the probe's filter and what of its housing faces the source around it.

    A housing's window is taken to lie all round; a wall without one covers what its open fraction
    leaves.
    """
    if probe is None:
        return tube
    around = list(probe.filter)
    housing = probe.housing
    if housing is not None and (housing.window or housing.wall):
        layer = housing.window or housing.wall
        assert layer is not None
        closed = 1.0 if housing.window or not housing.open_fraction else 1.0 - housing.open_fraction
        if closed > 0.0:
            around.append(Filter(**layer.model_dump(exclude_none=True), coverage=closed))
    return tube.model_copy(update={"filter": (*tube.filter, *around)})


def yields_of(tube: Tube, places: Sequence[Place] = (), report: Report = silent) -> Yields:
    """Compute what a tube counts per dose, in natural background and near each source.

    The design with every unknown in its middle is computed with care; each unknown then moves to
    its 10 % and its 90 % quantile by itself.

    Raises:
        UserError: what cannot be a tube, or a source inside it.
        Cancelled: if ``report`` says so.
    """
    from counterproof.physics.tube.figures import face_area_cm2
    from counterproof.physics.tube.response import near_factor

    model = tube_model(tube)
    angle = side_angle(tube)
    k = len(model.unknown)
    bodies = [model.nominal]
    for quantile in QUANTILES:
        for i in range(k):
            at = [0.5] * k
            at[i] = quantile
            bodies.append(design_at(tube, at))
    near: dict[str, float] = {}
    strikes: dict[str, float] = {}
    for place in places:
        f = place.field
        electrons = f.electron_fluence_rate_kev[0] * np.diff(f.electron_edges_kev)
        strikes[place.key] = float(electrons.sum()) * face_area_cm2(model.nominal, angle)
        near[place.key] = near_factor(
            model.nominal, float(f.distances_cm[0]), energy_kev=_NEAR_KEV, angle_deg=angle,
            radius_cm=f.source.diameter_cm / 2.0,
        )  # fmt: skip
    rows, own = [], np.zeros(0)
    names: tuple[str, ...] = ()
    base = 1.0
    for number, body in enumerate(bodies):
        step(report, number, len(bodies))
        names, values, u, base_now = _row(tube, body, angle, places, near, number == 0, base)
        if number == 0:
            own, base = u, base_now
        rows.append(values)
    step(report, len(bodies), len(bodies))
    table = np.array(rows)
    common = _common_u()
    effects = Effects(
        names, table[0], table[1 : 1 + k], table[1 + k :], common,
        np.sqrt(np.maximum(own**2 - common**2, 1e-6)),
    )  # fmt: skip
    radius, length = model.nominal.radius_cm, model.nominal.length_cm
    inner = 2.0 * math.pi * radius * (radius + length)
    sheet = None
    stated = tube.datasheet.read_sensitivity()
    if stated is not None and "sheet" in names:
        from counterproof.physics.dose import mean_h10_per_air_kerma

        head = _head(stated.nuclide)
        sheet = stated.to("cps/(µSv/h)", mean_h10_per_air_kerma(head)).value
    return Yields(effects, strikes, inner, model.unknown, sheet)


def _common_u() -> float:
    from counterproof.physics.tube.response import PHOTON_U, TRANSPORT_U

    return math.hypot(TRANSPORT_U, PHOTON_U)


def _head(nuclide: str) -> str:
    return {"Cs-137": "Ba-137m"}.get(nuclide, nuclide)


def _row(
    tube: Tube,
    body: Body,
    angle: float,
    places: Sequence[Place],
    near: dict[str, float],
    nominal: bool,
    ground_over_side: float,
) -> tuple[tuple[str, ...], np.ndarray, np.ndarray, float]:
    """Columns of one design: names, values, relative uncertainty of the model, background ratio.

    The rotational field of the background is computed for the nominal design; other designs change
    it as they change the response from the side.
    """
    from counterproof.physics.background import background
    from counterproof.physics.tube.model import TubeModel
    from counterproof.physics.tube.predict import background_rate, charged_rate, fold
    from counterproof.physics.tube.response import electron_curve, per_usv, response_curve

    precision = _PRECISION if nominal else _DESIGN_PRECISION
    curve = response_curve(body, NODES_KEV, angle_deg=angle, precision=precision)
    energy = np.array(NODES_KEV)
    per = per_usv(energy, np.maximum(curve.effective_area_cm2, _LEAST)) / 3600.0
    share = np.hypot(curve.u_model_effective_area_cm2, curve.u_stat_effective_area_cm2)
    relative = share / np.maximum(curve.effective_area_cm2, _LEAST)
    caesium = int(np.argmin(np.abs(energy - 661.657)))
    names, values, u = ["caesium"], [per[caesium]], [relative[caesium]]

    def add(name: str, value: float, uncertainty: float) -> None:
        names.append(name)
        values.append(max(value, _LEAST))
        u.append(uncertainty)

    natural = background()
    side = fold(curve, natural.photon_kev, natural.photon_fluence_rate)
    muons = charged_rate(body, natural.charged_fluence_rate)
    if nominal:
        whole = background_rate(TubeModel(body), natural, precision=_DESIGN_PRECISION)
        ground_over_side = (whole.counts_per_s - muons.counts_per_s) / max(
            side.counts_per_s, _LEAST
        )
    ground = side.counts_per_s * ground_over_side
    both = ground + muons.counts_per_s
    add("background", both, math.hypot(side.u * ground_over_side, muons.u) / max(both, _LEAST))
    for e in SHOWN_KEV:
        at = int(np.argmin(np.abs(energy - e)))
        add(f"E:{e:g}", per[at], relative[at])
    stated = tube.datasheet.read_sensitivity()
    if stated is not None and stated.nuclide:
        value = _per_usv_of_nuclide(_head(stated.nuclide), curve)
        if value is not None:
            add("sheet", value, relative[caesium])
    electrons = None
    if any((p.field.electron_fluence_rate_kev[0] > 0.0).any() for p in places):
        electrons = electron_curve(body, ELECTRONS_KEV, angle_deg=angle, precision=precision)
    for p in places:
        part = fold(curve, p.field.photon_kev, p.field.photon_fluence_rate[0])
        n = near[p.key]
        add(f"photon:{p.key}", part.counts_per_s * n, _relative(part))
        if electrons is None:
            add(f"beta:{p.key}", 0.0, 0.1)
            continue
        f = p.field
        rate = f.electron_fluence_rate_kev[0] * np.diff(f.electron_edges_kev)
        # below the first node nothing passes a wall worth the name
        seen = (f.electron_kev >= ELECTRONS_KEV[0]) & (f.electron_kev <= ELECTRONS_KEV[-1])
        beta = fold(electrons, f.electron_kev[seen], rate[seen])
        add(f"beta:{p.key}", beta.counts_per_s * n, max(_relative(beta), 0.1))
    return tuple(names), np.array(values), np.array(u), ground_over_side


def _relative(part: Part) -> float:
    return part.u / part.counts_per_s if part.counts_per_s > 0.0 else 0.1


def _per_usv_of_nuclide(head: str, curve: Curve) -> float | None:
    """Counts per second per µSv/h of a nuclide's lines, or ``None`` without lines."""
    from counterproof.physics.dose import h10_per_fluence
    from counterproof.physics.emissions import emission

    try:
        lines = emission(head)
    except UserError:
        return None
    use = (lines.photon_kev > 15.0) & (lines.photon_yield > 1e-3)
    energy, share = lines.photon_kev[use], lines.photon_yield[use]
    if not energy.size:
        return None
    area = curve.area_at(energy)
    return float((share * area).sum() / (share * h10_per_fluence(energy)).sum())
