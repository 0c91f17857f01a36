"""Response of a tube by quadrature: the method ``kernel``, without random numbers.

Counts are ∫ Φ(place, E, direction) · yield dA over the gas's surface: Φ the photons' fluence there,
the yield from :mod:`.release` and :mod:`.escape`. Unscattered photons come along known lines; those
scattered once, and the fluorescence and annihilation photons, from places spread through the
layers, in directions spread over the sphere; what is scattered again is added by the ratio of the
first two orders. Coherent scattering, which hardly turns photons of these energies, is taken as no
collision. Held against the Monte Carlo in the acceptance runs.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from functools import lru_cache

import numpy as np
from numpy.typing import NDArray

from counterproof.physics.materials import Material
from counterproof.physics.tube import layout as lay
from counterproof.physics.tube.bodies import (
    Body,
    Surface,
    bodies,
    gas_crossing,
    paths,
    side_layers,
    spread,
    surfaces,
)
from counterproof.physics.tube.escape import (
    ENERGY_KEV,
    SIN2,
    Skin,
    end_chords,
    places,
    side_chords,
    skin,
)
from counterproof.physics.tube.geometry import Tube
from counterproof.physics.tube.layout import MC2, Array
from counterproof.physics.tube.release import (
    COSINE,
    PHOTON_SIN2,
    Coefficients,
    bound_share,
    coefficients,
    rows,
    yields,
)
from counterproof.physics.tube.tables import photon_tables

SITES = 256
"""Places per body from which scattered photons start."""
LATER_KEV: Array = np.geomspace(4.0, 3500.0, 44)
"""Energies of scattered photons for which a yield is computed."""
_STEEPEST = 0.05
_GAS_SPOTS = 96
_NO_WAY = 1e-300


@dataclass(frozen=True)
class Rays:
    """Where photons come from, as seen from a place.

    Args:
        angles_deg: of parallel beams, between axis and the way to the source, each with the same
            weight; empty for points.
        points: places of a source, shape (n, 3), each with the same weight.
    """

    angles_deg: tuple[float, ...] = ()
    points: Array | None = None

    def at(self, places_cm: Array) -> tuple[Array, Array]:
        """Directions of flight (k, n, 3) at places (n, 3), and fluences (k, n), 1 or 1/cm²."""
        if self.points is None:
            angle = np.radians(self.angles_deg)
            way = np.stack([np.sin(angle), np.zeros(angle.size), -np.cos(angle)], axis=1)
            shape = (angle.size, places_cm.shape[0])
            one = np.broadcast_to(way[:, None], (*shape, 3))
            return one, np.full(shape, 1.0 / angle.size)
        gap = places_cm[None] - self.points[:, None]
        d2 = (gap**2).sum(axis=-1)
        fluence = 1.0 / (4.0 * math.pi * d2 * self.points.shape[0])
        return gap / np.sqrt(d2)[..., None], fluence


@dataclass(frozen=True)
class Quadrature:
    """A tube made ready."""

    tube: Tube
    parts: tuple[Body, ...]
    pieces: tuple[Surface, ...]
    skins: tuple[Skin, ...]


@lru_cache(maxsize=32)
def ready(tube: Tube) -> Quadrature:
    """Compute the skins of a tube."""
    pieces = surfaces(tube)
    r, length = tube.radius_cm, tube.length_cm
    side, end = side_chords(r, length), end_chords(r, length)
    # what has crossed a flat tube falls on the other end, in a long one on the side
    flat = length < 2.0 * r
    ends = [p for p in pieces if p.kind == "end"]
    kept: dict[object, Skin] = {}
    made = []
    for piece in pieces:
        beyond = side_layers(tube)
        if piece.kind == "end" and flat:
            beyond = next(
                (p.layers for p in ends if p.at[0, 2] * piece.at[0, 2] < 0.0), piece.layers
            )
        key = piece.layers, piece.kind, beyond
        if key not in kept:
            chords = end if piece.kind == "end" else side
            if piece.kind == "anode":
                chords = side_chords(0.5 * r, length)
            kept[key] = skin(piece.layers, tube.gas, chords, beyond)
        made.append(kept[key])
    return Quadrature(tube, tuple(bodies(tube)), tuple(pieces), tuple(made))


def _weights(cosine: Array, sin2: Array) -> Array:
    """Shares of the nodes of a yield's table for directions (n,): shape (n, nodes)."""
    c, f = places(COSINE, cosine)
    h = np.clip(sin2, 0.0, 1.0)
    out = np.zeros((cosine.size, COSINE.size, PHOTON_SIN2.size))
    row = np.arange(cosine.size)
    out[row, c, 0] = (1 - f) * (1 - h)
    out[row, c, 1] = (1 - f) * h
    out[row, c + 1, 0] = f * (1 - h)
    out[row, c + 1, 1] = f * h
    return out.reshape(cosine.size, -1)


def _slant(way: Array, normal: Array) -> tuple[Array, Array]:
    """Cosine to the normal, and sin² in the surface between direction and axis."""
    cosine = (way * normal).sum(axis=-1)
    flat = way - cosine[..., None] * normal
    size = (flat**2).sum(axis=-1)
    along = flat[..., 2] ** 2
    return np.clip(cosine, -1.0, 1.0), np.where(
        size > 1e-12, 1.0 - along / np.maximum(size, 1e-12), 0.5
    )


def photon_areas(q: Quadrature, energy_kev: Array, rays: Rays) -> tuple[Array, Array]:
    """Counts and entries per unit fluence (beams, cm²) or per photon emitted (points).

    Args:
        q: the tube.
        energy_kev: shape (n,).
        rays: where the photons come from.
    """
    e = np.asarray(energy_kev, dtype=np.float64)
    mu = _table(q.parts, e)
    later = np.unique(np.concatenate([LATER_KEV, *(_edges(p.material) for p in q.parts)]))
    counts, entries = np.zeros(e.size), np.zeros(e.size)
    late = []
    found: dict[int, list[Array]] = {}
    for piece, made in zip(q.pieces, q.skins, strict=True):
        if id(made) not in found:
            both = yields(made, [m for m, _ in piece.layers], np.concatenate([e, later]))
            found[id(made)] = [y.reshape(y.shape[0], -1) for y in both]
        flat = found[id(made)]
        late.append([y[e.size :] for y in flat])
        way, fluence = rays.at(piece.at)
        k = way.shape[0]
        cosine, sin2 = _slant(way.reshape(-1, 3), np.tile(piece.normal, (k, 1)))
        # from just behind the surface: a photon along it has come through the layer
        start = np.tile(piece.at - 1e-7 * piece.normal, (k, 1))
        passed = np.exp(-paths(start, -way.reshape(-1, 3), q.parts) @ mu.T)
        weight = (fluence * piece.area).reshape(-1, 1) * passed  # (rays, n)
        table = _weights(cosine, sin2)
        counts += np.einsum("re,rw,ew->e", weight, table, flat[0][: e.size], optimize=True)
        entries += np.einsum("re,rw,ew->e", weight, table, flat[1][: e.size], optimize=True)
    gas = _in_gas(q, e, rays, mu)
    more = _scattered(q, e, rays, mu, later, late)
    return counts + gas + more[0], entries + gas + more[1]


def _table(parts: Sequence[Body], e: Array) -> Array:
    """Attenuation coefficients (n, bodies) in 1/cm."""
    return np.stack([coefficients(b.material, e).total for b in parts], axis=-1)


def _edges(medium: Material) -> Array:
    rows = photon_tables(medium)[3]
    found = [float(r[column]) for r in rows for column in (lay.B_K, lay.B_L) if r[column] > 4.0]
    at = np.array(sorted(set(found)))
    return np.concatenate([at * (1 - 2e-3), at * (1 + 2e-3)])


def _in_gas(q: Quadrature, e: Array, rays: Rays, mu: Array) -> Array:
    """Photons that collide in the gas itself: each counts."""
    tube = q.tube
    s = spread(_GAS_SPOTS, 3)
    r = tube.radius_cm * np.sqrt(s[:, 0])
    phi = 2.0 * math.pi * s[:, 1]
    at = np.stack([r * np.cos(phi), r * np.sin(phi), tube.length_cm * (s[:, 2] - 0.5)], axis=1)
    way, fluence = rays.at(at)
    tau = paths(np.tile(at, (way.shape[0], 1)), -way.reshape(-1, 3), q.parts) @ mu.T
    volume = math.pi * tube.radius_cm**2 * tube.length_cm / _GAS_SPOTS
    mean = (fluence.reshape(-1, 1) * np.exp(-tau)).sum(axis=0) * volume
    return np.asarray(mean * coefficients(tube.gas, e).total)


@dataclass(frozen=True)
class _Sites:
    """Places in the layers, what reaches them, and where a direction from them leads."""

    body: NDArray[np.int64]  # (n,) index
    way: Array  # direction of the next flight (n, 3)
    cosine: Array  # (k, n) between it and the photons that come
    fluence: Array  # (k, n) times the volume that a place stands for
    before: Array  # (k, n, bodies) path behind
    ahead: Array  # (n, bodies) path to the gas
    hits: list[tuple[int, NDArray[np.int64], Array]]  # surface, places, weights over 1/|cos|


def _sites(q: Quadrature, rays: Rays) -> _Sites:
    n = SITES
    s = spread(n * len(q.parts), 5)
    body = np.arange(n * len(q.parts)) % len(q.parts)
    r_in = np.array([b.r_in for b in q.parts])[body]
    r_out = np.array([b.r_out for b in q.parts])[body]
    lo = np.array([b.z_lo for b in q.parts])[body]
    hi = np.array([b.z_hi for b in q.parts])[body]
    volume = np.array([b.volume for b in q.parts])[body] / n
    r = np.sqrt(r_in**2 + s[:, 0] * (r_out**2 - r_in**2))
    phi = 2.0 * math.pi * s[:, 1]
    at = np.stack([r * np.cos(phi), r * np.sin(phi), lo + s[:, 2] * (hi - lo)], axis=1)
    w = 2.0 * s[:, 3] - 1.0
    turn = 2.0 * math.pi * s[:, 4]
    side = np.sqrt(1.0 - w * w)
    way = np.stack([side * np.cos(turn), side * np.sin(turn), w], axis=1)
    come, fluence = rays.at(at)
    k = come.shape[0]
    before = paths(np.tile(at, (k, 1)), -come.reshape(-1, 3), q.parts)
    t1, t2 = gas_crossing(at, way, q.tube)
    struck = t2 > t1
    ahead = paths(at, way, q.parts, np.where(struck, t1, 0.0))
    hits = []
    for t in (t1, t2):
        hits += _struck(q, at + t[:, None] * way, way, struck & (t > 0.0))
    return _Sites(
        body, way, (come * way).sum(axis=-1), fluence * volume,
        before.reshape(k, at.shape[0], -1), ahead, hits,
    )  # fmt: skip


def _struck(
    q: Quadrature, at: Array, way: Array, use: NDArray[np.bool_]
) -> list[tuple[int, NDArray[np.int64], Array]]:
    """Which piece of the surface is struck, and the weights of the yields there."""
    out = []
    half = 0.5 * q.tube.length_cm
    radius = np.hypot(at[:, 0], at[:, 1])
    on_side = np.abs(radius - q.tube.radius_cm) < 1e-6 * q.tube.radius_cm
    for number, piece in enumerate(q.pieces):
        if piece.kind == "anode":
            continue
        along = at[:, 2] if piece.kind == "side" else radius
        here = use & np.any([(along >= lo) & (along <= hi) for lo, hi in piece.bands], axis=0)
        if piece.kind == "side":
            here &= on_side
            normal = -at / np.maximum(radius, 1e-12)[:, None]
            normal[:, 2] = 0.0
        else:
            sign = np.sign(piece.at[0, 2])
            here &= ~on_side & (at[:, 2] * sign > 0.5 * half)
            normal = np.tile([0.0, 0.0, -sign], (at.shape[0], 1))
        index = np.flatnonzero(here)
        if index.size:
            cosine, sin2 = _slant(way[index], normal[index])
            weight = _weights(cosine, sin2) / np.maximum(np.abs(cosine), _STEEPEST)[:, None]
            out.append((number, index, weight))
    return out


def _scattered(
    q: Quadrature,
    e: Array,
    rays: Rays,
    mu: Array,
    later: Array,
    late: Sequence[Sequence[Array]],
) -> tuple[Array, Array]:
    """Counts and entries of photons that a first collision in the layers sends on."""
    sites = _sites(q, rays)
    arriving = sites.fluence[..., None] * np.exp(-sites.before @ mu.T)  # (k, n, e)
    media = list(dict.fromkeys(b.material for b in q.parts))
    which = np.array([media.index(b.material) for b in q.parts])
    ahead = np.stack([sites.ahead[:, which == m].sum(axis=1) for m in range(len(media))], axis=1)
    mu_later = np.stack([coefficients(m, later).total for m in media], axis=-1)
    # what one photon of a later energy from each place, along its direction, yields
    passed = np.exp(-ahead @ mu_later.T)  # (n, later)
    per_photon = np.zeros((2, sites.body.size, later.size))
    for number, index, weight in sites.hits:
        for which_yield in range(2):
            per_photon[which_yield, index] += weight @ late[number][which_yield].T
    per_photon *= passed
    out = np.zeros((2, e.size))
    for m, medium in enumerate(media):
        own = np.flatnonzero(which[sites.body] == m)
        of = coefficients(medium, e)
        one = per_photon[:, own]
        come = arriving[:, own]
        out += _lines(medium, e, of, one, come.sum(axis=0), later)
        for beam in range(come.shape[0]):
            out += _compton(medium, e, of, one, come[beam], sites.cosine[beam, own], later)
    return out[0], out[1]


def _lines(
    medium: Material, e: Array, of: Coefficients, one: Array, come: Array, later: Array
) -> Array:
    """Fluorescence and annihilation: isotropic, of fixed energy."""
    _, share, k_share, atom, _, _ = photon_tables(medium)
    out = np.zeros((2, e.size))
    of_atom = np.diff(rows(share, e), axis=1, prepend=0.0)
    of_k = rows(k_share, e)

    def sent(energy: float, per_cm: Array) -> None:
        i, f = places(np.log(later), np.log(np.array([energy])))
        at = one[..., i[0]] * (1 - f[0]) + one[..., i[0] + 1] * f[0]  # (2, n)
        out[:] += (at @ come) * per_cm

    for k, row in enumerate(atom):
        vacancies = of.photo * of_atom[:, k] * np.where(e > row[lay.B_K], of_k[:, k], 0.0)
        if not vacancies.any():
            continue
        parts = np.diff([0.0, row[lay.SHARE_A], row[lay.SHARE_B], 1.0])
        for j, part in enumerate(parts):
            line = float(row[lay.LINE_A + j])
            if line > later[0] and part > 0.0:
                sent(line, vacancies * row[lay.OMEGA_K] * part)
    if of.pair.any():
        sent(MC2, 2.0 * of.pair)
    return out


def _compton(
    medium: Material,
    e: Array,
    of: Coefficients,
    one: Array,
    come: Array,
    cosine: Array,
    later: Array,
) -> Array:
    """Photons scattered incoherently: energy and probability by the angle."""
    nodes, weights = np.polynomial.legendre.leggauss(48)

    def density(c: Array) -> tuple[Array, Array]:
        kept = 1.0 / (1.0 + e / MC2 * (1.0 - c[:, None]))
        bound = bound_share(medium, e, np.broadcast_to(1.0 - c[:, None], kept.shape))
        return kept**2 * (kept + 1.0 / kept - 1.0 + c[:, None] ** 2) * bound, kept

    whole = weights @ density(nodes)[0]
    here, kept = density(cosine)
    rate = come * here / whole * 2.0 * of.incoherent  # directions are spread evenly over 4π
    i, f = places(np.log(later), np.log(np.maximum(kept * e, later[0])))
    row = np.arange(cosine.size)[:, None]
    value = one[:, row, i] * (1 - f) + one[:, row, i + 1] * f  # (2, n, e)
    return np.asarray((value * rate * (kept * e > later[0])).sum(axis=1))


def electron_areas(q: Quadrature, energy_kev: Array, rays: Rays) -> tuple[Array, Array]:
    """The same for electrons that arrive from outside, through wall, ends and window."""
    e = np.asarray(energy_kev, dtype=np.float64)
    k, f = places(np.log(ENERGY_KEV), np.log(np.maximum(e, ENERGY_KEV[0])))
    out = np.zeros((2, e.size))
    for piece, made in zip(q.pieces, q.skins, strict=True):
        if piece.kind == "anode":
            continue
        way, fluence = rays.at(piece.at)
        normal = np.broadcast_to(piece.normal, way.shape).reshape(-1, 3)
        cosine, sin2 = _slant(way.reshape(-1, 3), normal)
        weight = (fluence * piece.area).ravel() * np.maximum(cosine, 0.0)
        c, g = places(made.cosine, cosine)
        s, h = places(SIN2, sin2)
        seen = made.through[:, c, s] * (1 - g) * (1 - h) + made.through[:, c + 1, s] * g * (1 - h)
        seen += made.through[:, c, s + 1] * (1 - g) * h + made.through[:, c + 1, s + 1] * g * h
        entry = made.through_entry[:, c] * (1 - g) + made.through_entry[:, c + 1] * g
        for row, value in enumerate((seen @ weight, entry @ weight)):
            out[row] += value[k] * (1 - f) + value[k + 1] * f
    return out[0], out[1]
