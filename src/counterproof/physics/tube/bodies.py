"""A tube as rings of material, paths of rays through them, and places on and in them.

For quadrature over photons (:mod:`.quadrature`); the Monte Carlo has its own cells
(:mod:`.geometry`). The tube's axis is z, its middle the origin.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from itertools import pairwise

import numpy as np

from counterproof.physics.materials import Material
from counterproof.physics.tube.geometry import RINGS, TUNGSTEN, Tube
from counterproof.physics.tube.layout import Array

_AROUND = 16
_ALONG = 12
_SPOTS = 32
_FAR = 1e9


@dataclass(frozen=True)
class Body:
    """A ring between two radii and two planes."""

    material: Material
    r_in: float
    r_out: float
    z_lo: float
    z_hi: float

    @property
    def volume(self) -> float:
        """Volume in cm³."""
        return float(np.pi * (self.r_out**2 - self.r_in**2) * (self.z_hi - self.z_lo))


@dataclass(frozen=True)
class Surface:
    """Places on a piece of the gas's surface.

    Args:
        layers: behind it, material and thickness in cm from the gas outwards.
        kind: ``"side"``, ``"end"`` or ``"anode"``.
        at: places, shape (n, 3).
        normal: towards the gas, shape (n, 3).
        area: that each stands for, cm², shape (n,).
        bands: heights between which a side is of this kind; radii between which an end is.
    """

    layers: tuple[tuple[Material, float], ...]
    kind: str
    at: Array
    normal: Array
    area: Array
    bands: tuple[tuple[float, float], ...] = ()


def side_layers(tube: Tube, z: float | None = None) -> tuple[tuple[Material, float], ...]:
    """Layers beside the gas, from the gas outwards, at a height (``None``: every filter)."""
    layers = [(tube.lining.material, tube.lining.thickness_cm)] if tube.lining else []
    layers.append((tube.wall.material, tube.wall.thickness_cm))
    for f, rings in zip(tube.filters, _rings(tube), strict=True):
        if z is None or any(lo <= z <= hi for lo, hi in rings):
            layers.append((f.material, f.thickness_cm))
    return tuple(layers)


def _rings(tube: Tube) -> list[list[tuple[float, float]]]:
    """Heights between which each filter lies; an open one is cut into rings."""
    low = 0.5 * tube.length_cm + tube.wall.thickness_cm
    high = max(low, 0.5 * tube.length_cm + (tube.window.thickness_cm if tube.window else 0.0))
    out = []
    for layer in tube.filters:
        n = RINGS if layer.coverage < 1.0 else 1
        pitch = (high + low) / n
        wide = 0.5 * layer.coverage * pitch
        out.append(
            [(-low + (k + 0.5) * pitch - wide, -low + (k + 0.5) * pitch + wide) for k in range(n)]
        )
        if layer.ends:
            low, high = low + layer.thickness_cm, high + layer.thickness_cm
    return out


def bodies(tube: Tube) -> list[Body]:
    """All solid rings of a tube."""
    half = 0.5 * tube.length_cm
    out = []
    inner = tube.radius_cm
    if tube.anode_radius_cm > 0.0:
        out.append(Body(TUNGSTEN, 0.0, tube.anode_radius_cm, -half, half))
    if tube.lining:
        out.append(Body(tube.lining.material, inner, inner + tube.lining.thickness_cm, -half, half))
        inner += tube.lining.thickness_cm
    wall = tube.wall
    outer = inner + wall.thickness_cm
    out.append(Body(wall.material, inner, outer, -half, half))
    low = high = half + wall.thickness_cm
    out.append(Body(wall.material, 0.0, outer, -low, -half))
    if tube.window:
        pane = tube.window
        out.append(Body(pane.material, 0.0, pane.radius_cm, half, half + pane.thickness_cm))
        if pane.radius_cm < outer * (1.0 - 1e-9):
            out.append(Body(wall.material, pane.radius_cm, outer, half, high))
        high = max(high, half + pane.thickness_cm)
    else:
        out.append(Body(wall.material, 0.0, outer, half, high))
    for layer, rings in zip(tube.filters, _rings(tube), strict=True):
        start = outer + layer.gap_cm
        outer = start + layer.thickness_cm
        out += [Body(layer.material, start, outer, lo, hi) for lo, hi in rings]
        if layer.ends:
            out.append(Body(layer.material, 0.0, outer, -low - layer.thickness_cm, -low))
            out.append(Body(layer.material, 0.0, outer, high, high + layer.thickness_cm))
            low, high = low + layer.thickness_cm, high + layer.thickness_cm
    return out


def _within(at: Array, way: Array, radius: float, z_lo: float, z_hi: float) -> tuple[Array, Array]:
    """Where rays enter and leave a full cylinder, as distances; entry after exit if they miss."""
    x, y, z = at.T
    u, v, w = way.T
    a = np.maximum(u * u + v * v, 1e-18)
    b = x * u + y * v
    c = x * x + y * y - radius * radius
    root = b * b - a * c
    hit = root > 0.0
    s = np.sqrt(np.where(hit, root, 0.0))
    t1 = np.where(hit, (-b - s) / a, _FAR)
    t2 = np.where(hit, (-b + s) / a, -_FAR)
    w = np.where(np.abs(w) < 1e-12, 1e-12, w)
    za, zb = (z_lo - z) / w, (z_hi - z) / w
    return np.maximum(t1, np.minimum(za, zb)), np.minimum(t2, np.maximum(za, zb))


def paths(at: Array, way: Array, parts: Sequence[Body], end: Array | float = _FAR) -> Array:
    """Lengths in each body of rays from ``at`` along ``way`` up to ``end``: (rays, bodies)."""
    out = np.empty((at.shape[0], len(parts)))
    for k, body in enumerate(parts):
        whole = 0.0
        for radius, sign in ((body.r_out, 1.0), (body.r_in, -1.0)):
            if radius > 0.0:
                t1, t2 = _within(at, way, radius, body.z_lo, body.z_hi)
                part = np.minimum(t2, end) - np.maximum(t1, 0.0)
                whole = whole + sign * np.maximum(part, 0.0)
        out[:, k] = np.maximum(whole, 0.0)
    return out


def gas_crossing(at: Array, way: Array, tube: Tube) -> tuple[Array, Array]:
    """Where rays enter and leave the gas, as distances; entry after exit if they miss it."""
    half = 0.5 * tube.length_cm
    t1, t2 = _within(at, way, tube.radius_cm, -half, half)
    return np.maximum(t1, 0.0), t2


def spread(n: int, dimensions: int) -> Array:
    """Evenly spread numbers in 0 … 1, shape (n, dimensions): an additive recurrence.

    The steps are powers of 1/g, g the root of x^(d+1) = x + 1 (as :mod:`.source_kernel`).
    """
    g = 1.5
    for _ in range(60):
        g = (1.0 + g) ** (1.0 / (dimensions + 1))
    steps = g ** -np.arange(1.0, dimensions + 1)
    return np.asarray((0.5 + np.arange(1, n + 1)[:, None] * steps) % 1.0)


def surfaces(tube: Tube) -> list[Surface]:
    """The gas's surface in pieces: side, both ends (a window's rim apart), anode."""
    half = 0.5 * tube.length_cm
    phi = 2.0 * np.pi * (np.arange(_AROUND) + 0.5) / _AROUND

    def ring(
        radius: float, sign: float, layers: Sequence[tuple[Material, float]],
        bands: Sequence[tuple[float, float]],
    ) -> Surface:  # fmt: skip
        each = max(2, _ALONG // len(bands))
        share = (np.arange(each) + 0.5) / each
        z = np.concatenate([lo + (hi - lo) * share for lo, hi in bands])
        wide = np.repeat([hi - lo for lo, hi in bands], each) / each
        p, h = (grid.ravel() for grid in np.meshgrid(phi, z))
        round_ = np.stack([np.cos(p), np.sin(p), np.zeros(p.size)], axis=1)
        at = round_ * radius
        at[:, 2] = h
        area = np.repeat(wide, _AROUND) * (2.0 * np.pi * radius / _AROUND)
        kind = "side" if sign < 0 else "anode"
        return Surface(tuple(layers), kind, at, sign * round_, area, tuple(bands))

    def side() -> list[Surface]:
        # open filters: a piece for every set of layers that occurs
        cuts = {-half, half}
        for f, rings in zip(tube.filters, _rings(tube), strict=True):
            if f.coverage < 1.0:
                cuts |= {z for ends in rings for z in ends if -half < z < half}
        at = sorted(cuts)
        kinds: dict[tuple[tuple[Material, float], ...], list[tuple[float, float]]] = {}
        for lo, hi in pairwise(at):
            kinds.setdefault(side_layers(tube, 0.5 * (lo + hi)), []).append((lo, hi))
        return [ring(tube.radius_cm, -1.0, layers, bands) for layers, bands in kinds.items()]

    def disc(
        inner: float, outer: float, sign: float, layers: Sequence[tuple[Material, float]]
    ) -> Surface:
        q = spread(_SPOTS, 2)
        r = np.sqrt(inner**2 + (outer**2 - inner**2) * (np.arange(_SPOTS) + 0.5) / _SPOTS)
        turn = 2.0 * np.pi * q[:, 1]
        at = np.stack([r * np.cos(turn), r * np.sin(turn), np.full(_SPOTS, sign * half)], axis=1)
        normal = np.tile([0.0, 0.0, -sign], (_SPOTS, 1))
        area = np.full(_SPOTS, np.pi * (outer**2 - inner**2) / _SPOTS)
        return Surface(tuple(layers), "end", at, normal, area, ((inner, outer),))

    covers = [(f.material, f.thickness_cm) for f in tube.filters if f.ends]
    wall = (tube.wall.material, tube.wall.thickness_cm)
    out = side()
    out.append(disc(0.0, tube.radius_cm, -1.0, [wall, *covers]))
    if tube.window:
        pane = tube.window
        edge = min(pane.radius_cm, tube.radius_cm)
        out.append(disc(0.0, edge, 1.0, [(pane.material, pane.thickness_cm), *covers]))
        if edge < tube.radius_cm * (1.0 - 1e-9):
            out.append(disc(edge, tube.radius_cm, 1.0, [wall, *covers]))
    else:
        out.append(disc(0.0, tube.radius_cm, 1.0, [wall, *covers]))
    if tube.anode_radius_cm > 0.0:
        out.append(
            ring(tube.anode_radius_cm, 1.0, [(TUNGSTEN, tube.anode_radius_cm)], [(-half, half)])
        )
    return out
