"""A tube as layers, and the layers as cells of a body of rotation.

The tube's axis is z, its middle the origin. Layers lie from the gas outwards: lining (side only),
wall (side and both ends, unless a window replaces one end), filters (side only unless ``ends``).
"""

from __future__ import annotations

import math
from dataclasses import dataclass, field
from itertools import pairwise

import numpy as np

from counterproof.errors import UserError
from counterproof.physics.materials import Material
from counterproof.physics.tube.layout import VOID, Array, Grid
from counterproof.texts import text

RINGS = 5
"""A filter that covers less than all is cut into this many rings, evenly spaced."""
TUNGSTEN = Material("W", 19.3, {74: 1.0}, 727.0)
"""What anodes are made of."""


@dataclass(frozen=True)
class Layer:
    """One layer around the gas.

    Args:
        material: what it is made of.
        thickness_cm: its thickness.
        coverage: share of the side that it covers, 0 < coverage ≤ 1 (filters).
        ends: whether it closes the flat ends too (filters).
        gap_cm: empty space between it and what it surrounds (filters).
    """

    material: Material
    thickness_cm: float
    coverage: float = 1.0
    ends: bool = False
    gap_cm: float = 0.0

    @property
    def mass_thickness_mg_cm2(self) -> float:
        """Mass per area of the covered part."""
        return self.thickness_cm * self.material.density_g_cm3 * 1e3


@dataclass(frozen=True)
class Window:
    """An end window in place of the wall's upper end.

    Args:
        material: what it is made of.
        thickness_cm: its thickness.
        radius_cm: its radius; outside it the wall closes the end.
    """

    material: Material
    thickness_cm: float
    radius_cm: float


@dataclass(frozen=True)
class Tube:
    """Geometry and materials of a tube, everything known.

    Args:
        gas: the filling, at its density.
        radius_cm: inner radius, of the gas.
        length_cm: inner length, of the gas.
        wall: the wall; its ends have the same thickness.
        lining: layer on the inside of the wall's side, between gas and wall.
        filters: from the wall outwards.
        window: in place of the upper end.
        anode_radius_cm: of a straight wire or rod of tungsten in the axis, 0 for none.
        name: as printed.

    Raises:
        UserError: for dimensions that are not positive, a gas that is none, an anode or a window
            larger than the tube, a coverage outside 0 to 1.
    """

    gas: Material
    radius_cm: float
    length_cm: float
    wall: Layer
    lining: Layer | None = None
    filters: tuple[Layer, ...] = field(default=())
    window: Window | None = None
    anode_radius_cm: float = 0.0
    name: str = ""

    def __post_init__(self) -> None:
        """Refuse what is no tube."""
        sizes = {"radius": self.radius_cm, "length": self.length_cm}
        sizes["wall thickness"] = self.wall.thickness_cm
        if self.lining:
            sizes["lining thickness"] = self.lining.thickness_cm
        for number, layer in enumerate(self.filters, 1):
            sizes[f"filter {number} thickness"] = layer.thickness_cm
            if not layer.gap_cm >= 0.0:
                raise UserError(text("tube.size", what=f"filter {number} gap", value="negative"))
            if not 0.0 < layer.coverage <= 1.0:
                raise UserError(text("tube.coverage", value=f"{layer.coverage:g}"))
        if self.window:
            sizes["window thickness"] = self.window.thickness_cm
            sizes["window radius"] = self.window.radius_cm
            if self.window.radius_cm > self.radius_cm * (1.0 + 1e-9) + self.wall.thickness_cm:
                raise UserError(text("tube.window_too_wide"))
        for what, size in sizes.items():
            if not (math.isfinite(size) and size > 0.0):
                raise UserError(text("tube.size", what=what, value=f"{size:g}"))
        if not 0.0 <= self.anode_radius_cm < self.radius_cm:
            raise UserError(text("tube.anode"))
        if not 1e-8 < self.gas.density_g_cm3 < 0.05:
            raise UserError(text("tube.no_gas"))

    @property
    def outer_radius_cm(self) -> float:
        """Radius with all layers."""
        inner = self.radius_cm + (self.lining.thickness_cm if self.lining else 0.0)
        return inner + self.wall.thickness_cm + sum(f.thickness_cm + f.gap_cm for f in self.filters)

    @property
    def outer_half_length_cm(self) -> float:
        """Half the length with wall, window and filters that close the ends."""
        end = max(self.wall.thickness_cm, self.window.thickness_cm if self.window else 0.0)
        return 0.5 * self.length_cm + end + sum(f.thickness_cm for f in self.filters if f.ends)

    @property
    def materials(self) -> tuple[Material, ...]:
        """Each material once, the gas first."""
        found = [self.gas, self.wall.material]
        found += [layer.material for layer in ((self.lining,) if self.lining else ())]
        found += [layer.material for layer in self.filters]
        found += [self.window.material] if self.window else []
        if self.anode_radius_cm > 0.0:
            found.append(TUNGSTEN)
        return tuple(dict.fromkeys(found))


def grid(tube: Tube) -> Grid:
    """Cut the tube into cells as the electrons see them (without ``reach``, see :func:`reach`)."""
    index = {m: i for i, m in enumerate(tube.materials)}
    half = 0.5 * tube.length_cm
    end = half + tube.wall.thickness_cm
    top = half + tube.window.thickness_cm if tube.window else end
    radii = [0.0]
    if tube.anode_radius_cm > 0.0:
        radii.append(tube.anode_radius_cm)
    radii.append(tube.radius_cm)
    inner = tube.radius_cm
    if tube.lining:
        inner += tube.lining.thickness_cm
        radii.append(inner)
    wall_outer = inner + tube.wall.thickness_cm
    radii.append(wall_outer)
    planes = {-end, -half, half, end, top}
    if tube.window:
        radii.append(tube.window.radius_cm)
    r_at = wall_outer
    low, high = -end, max(end, top)
    shells = []
    for layer in tube.filters:
        if layer.gap_cm > 0.0:
            r_at += layer.gap_cm
            radii.append(r_at)
        outside = r_at + layer.thickness_cm
        lo, hi = low, high
        if layer.ends:
            lo, hi = low - layer.thickness_cm, high + layer.thickness_cm
        bands = [(low, high)]
        if layer.coverage < 1.0:
            pitch = (high - low) / RINGS
            width = layer.coverage * pitch
            starts = [low + (k + 0.5) * pitch - 0.5 * width for k in range(RINGS)]
            bands = [(s, s + width) for s in starts]
        shells.append((layer, r_at, outside, bands, low, high, lo, hi))
        for a, b in bands:
            planes |= {a, b}
        planes |= {lo, hi}
        radii.append(outside)
        r_at = outside
        low, high = lo, hi
    r = _distinct(radii)
    z = _distinct(planes)
    material = np.full((r.size - 1, z.size - 1), VOID, dtype=np.int64)
    for i, (a, b) in enumerate(pairwise(r)):
        rm = 0.5 * (a + b)
        for k, (c, d) in enumerate(pairwise(z)):
            zm = 0.5 * (c + d)
            found: Material | None = None
            if abs(zm) < half:
                if rm < tube.anode_radius_cm:
                    found = tube.materials[-1]
                elif rm < tube.radius_cm:
                    found = tube.gas
                elif tube.lining and rm < inner:
                    found = tube.lining.material
                elif rm < wall_outer:
                    found = tube.wall.material
            elif rm < wall_outer:
                if tube.window and zm > 0.0 and rm < tube.window.radius_cm:
                    found = tube.window.material if zm < top else None
                elif -end < zm < end:
                    found = tube.wall.material
            if found is None:
                for layer, r0, r1, bands, c0, c1, lo, hi in shells:
                    side = r0 < rm < r1 and any(p < zm < q for p, q in bands)
                    cap = layer.ends and rm < r1 and (lo < zm < c0 or c1 < zm < hi)
                    if side or cap:
                        found = layer.material
                        break
            if found is not None:
                material[i, k] = index[found]
    return Grid(
        r,
        z,
        material,
        np.zeros(material.shape),
        tube.radius_cm,
        half,
        tube.anode_radius_cm,
    )


def _distinct(values: object) -> Array:
    """Sort and drop values closer together than a nanometre."""
    out: list[float] = []
    for value in sorted(float(v) for v in values):  # type: ignore[attr-defined]
        if not out or value - out[-1] > 1e-7:
            out.append(value)
    return np.array(out)
