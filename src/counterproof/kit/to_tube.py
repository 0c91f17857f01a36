"""From a tube as written to the tubes that physics computes with.

What the file leaves out, or gives as a range, is drawn from a spread that belongs to the class of
construction; the middle of each spread is the nominal design. The spreads are common practice, no
source: what open data sheets and teardowns of such tubes commonly show.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Sequence
from dataclasses import dataclass

import numpy as np

from counterproof.errors import UserError
from counterproof.kit.fields import Span
from counterproof.kit.layers import Layer as KitLayer
from counterproof.kit.tube import Tube as KitTube
from counterproof.physics.materials import Material, gas, material
from counterproof.physics.tube.geometry import Layer, Tube, Window
from counterproof.physics.tube.model import TubeModel
from counterproof.texts import text

VARIANTS = 8
"""Designs drawn where something is unknown (a Latin hypercube, seeded)."""


@dataclass(frozen=True)
class Construction:
    """The spreads of one class of construction; lengths in mm, pressures in kPa.

    Args:
        wall: material and range of thickness.
        pressure: range of pressure of a neon filling with a little argon and halogen.
        lining: material and range of mass per area in mg/cm², or ``None``.
        window: material and range of mass per area in mg/cm², or ``None``.
    """

    wall: tuple[str, float, float]
    pressure: tuple[float, float]
    lining: tuple[str, float, float] | None = None
    window: tuple[str, float, float] | None = None


CONSTRUCTIONS = {
    "thin metal": Construction(("stainless steel", 0.05, 0.25), (10.0, 50.0)),
    "thick metal": Construction(("stainless steel", 0.5, 1.5), (10.0, 50.0)),
    "glass": Construction(("soda-lime glass", 0.7, 1.2), (10.0, 50.0), ("SnO2", 0.1, 1.0)),
    "mica window": Construction(
        ("stainless steel", 0.3, 1.0), (10.0, 60.0), None, ("mica", 1.5, 3.0)
    ),
}
ANY = Construction(("stainless steel", 0.05, 1.0), (10.0, 50.0))
"""Stands in where not even the class is known."""
FILL = "Ne 0.998 + Ar 0.001 + Br2 0.001"
"""A halogen-quenched neon filling as it is common; stands in for an unknown fill."""
_GLASS = ("glass", "quartz", "silica")
_DESIGN_SEED = 20261125


class _Draw:
    """Takes each unknown from its range at the quantile of the design at hand."""

    def __init__(self, quantile: Callable[[int], float]) -> None:
        self._quantile = quantile
        self._next = 0
        self.unknown: list[str] = []

    def span(self, given: Span | None, default: tuple[float, float], what: str, unit: str) -> float:
        if given is not None and not given.is_range:
            return given.middle
        low, high = (given.low, given.high) if given is not None else default
        origin = text("tube.range_given" if given is not None else "tube.range_class")
        self.unknown.append(
            text("tube.unknown", what=what, low=f"{low:g}", high=f"{high:g}", unit=unit,
                 origin=origin)
        )  # fmt: skip
        q = self._quantile(self._next)
        self._next += 1
        if low > 0.0 and high / low > 2.0:
            return math.exp(math.log(low) + q * math.log(high / low))
        return low + q * (high - low)


def construction_of(tube: KitTube) -> str:
    """Name of the class of construction, as stated or as layers and window suggest; or ``""``."""
    if tube.construction:
        return tube.construction
    if tube.window:
        return "mica window"
    if tube.lining or (tube.wall and any(g in tube.wall.material.lower() for g in _GLASS)):
        return "glass"
    if tube.wall and tube.wall.thickness_mm is not None:
        return "thin metal" if tube.wall.thickness_mm.middle < 0.35 else "thick metal"
    return ""


def tube_model(tube: KitTube) -> TubeModel:
    """Nominal tube, and designs from the ranges where something is unknown.

    Raises:
        UserError: what cannot be a tube: layers thicker than its outside, an unknown material, no
            gas.
    """
    first = _Draw(lambda k: 0.5)
    nominal = _build(tube, first)
    if not first.unknown:
        return TubeModel(nominal)
    n = len(first.unknown)
    rng = np.random.default_rng(_DESIGN_SEED)
    cells = np.array([rng.permutation(VARIANTS) for _ in range(n)])
    jitter = rng.random((n, VARIANTS))
    quantiles = (cells + jitter) / VARIANTS

    designs = tuple(design_at(tube, quantiles[:, row].tolist()) for row in range(VARIANTS))
    return TubeModel(nominal, designs, tuple(first.unknown))


def design_at(tube: KitTube, quantiles: Sequence[float]) -> Tube:
    """Return one design: each unknown at a quantile of its range, in the order of ``unknown``.

    Raises:
        UserError: as :func:`tube_model`.
    """
    return _build(tube, _Draw(lambda k: float(quantiles[k])))


def _build(tube: KitTube, draw: _Draw) -> Tube:
    kind = CONSTRUCTIONS.get(construction_of(tube), ANY)
    wall = _wall(tube.wall, kind, draw)
    lining = None
    if tube.lining or kind.lining:
        lining = _lining(tube.lining, kind, draw)
    window = None
    if tube.window or kind.window:
        window = _window(tube, kind, draw)
    around = wall.thickness_cm + (lining.thickness_cm if lining else 0.0)
    radius, length = _gas_size(tube, wall.thickness_cm, around, window, draw)
    pane = None
    if window:
        wide = window[2] if window[2] > 0.0 else radius
        pane = Window(window[0], window[1], min(wide, radius))
    pressure = draw.span(tube.gas.pressure_kpa, kind.pressure, text("tube.pressure"), "kPa")
    filters = tuple(_filter(f, draw) for f in tube.filter)
    anode = tube.anode.diameter_mm.middle * 0.05 if tube.anode else 0.0
    return Tube(
        gas=gas(tube.gas.fill or FILL, pressure),
        radius_cm=radius,
        length_cm=length,
        wall=wall,
        lining=lining,
        filters=filters,
        window=pane,
        anode_radius_cm=anode,
        name=tube.name,
    )


def _medium(layer: KitLayer) -> Material:
    density = layer.density_g_cm3
    if density is None and layer.areal_density_mg_cm2 is not None:
        # by mass per area the density matters little: a formula without one takes 5 g/cm³
        try:
            return material(layer.material)
        except UserError:
            return material(layer.material, 5.0)
    return material(layer.material, density.middle if density else None)


def _thickness(
    layer: KitLayer | None, medium: Material, low: float, high: float, what: str, draw: _Draw
) -> float:
    """Thickness in cm; ``low`` and ``high`` in mg/cm² stand in for what is not given."""
    if layer is not None and layer.thickness_mm is not None:
        return draw.span(layer.thickness_mm, (0.0, 0.0), what, "mm") * 0.1
    given = layer.areal_density_mg_cm2 if layer else None
    areal = draw.span(given, (low, high), what, "mg/cm²")
    return areal * 1e-3 / medium.density_g_cm3


def _wall(given: KitLayer | None, kind: Construction, draw: _Draw) -> Layer:
    name, low, high = kind.wall
    medium = _medium(given) if given else material(name)
    if given is None or (given.thickness_mm is None and given.areal_density_mg_cm2 is None):
        span = Span(low, high)
        return Layer(medium, draw.span(None, (span.low, span.high), text("tube.wall"), "mm") * 0.1)
    return Layer(medium, _thickness(given, medium, 0.0, 0.0, text("tube.wall"), draw))


def _lining(given: KitLayer | None, kind: Construction, draw: _Draw) -> Layer:
    name, low, high = kind.lining or ("SnO2", 0.1, 1.0)
    medium = _medium(given) if given else material(name)
    return Layer(medium, _thickness(given, medium, low, high, text("tube.lining"), draw))


def _window(tube: KitTube, kind: Construction, draw: _Draw) -> tuple[Material, float, float]:
    name, low, high = kind.window or ("mica", 1.5, 3.0)
    given = tube.window
    medium = _medium(given) if given else material(name)
    thickness = _thickness(given, medium, low, high, text("tube.window"), draw)
    radius = given.radius_mm.middle * 0.1 if given and given.radius_mm else 0.0
    return medium, thickness, radius


def _gas_size(
    tube: KitTube,
    wall_cm: float,
    around_cm: float,
    window: tuple[Material, float, float] | None,
    draw: _Draw,
) -> tuple[float, float]:
    """Radius and length of the gas in cm, from the gas itself or from the outside."""
    if tube.gas.radius_mm is not None:
        radius = draw.span(tube.gas.radius_mm, (0.0, 0.0), text("tube.radius"), "mm") * 0.1
    else:
        outer = draw.span(tube.outer_diameter_mm, (0.0, 0.0), text("tube.diameter"), "mm")
        radius = outer * 0.05 - around_cm
    if tube.gas.length_mm is not None:
        length = draw.span(tube.gas.length_mm, (0.0, 0.0), text("tube.length"), "mm") * 0.1
    else:
        whole = draw.span(tube.length_mm, (0.0, 0.0), text("tube.length"), "mm") * 0.1
        length = whole - wall_cm - (window[1] if window else wall_cm)
        if tube.form == "slim" and window is None:
            # seals and end caps take their share of a slim tube's length
            length *= draw.span(None, (0.75, 0.95), text("tube.active_share"), "")
    if radius <= 0.0 or length <= 0.0:
        raise UserError(text("tube.no_room", name=tube.name))
    return radius, length


def _filter(layer: KitLayer, draw: _Draw) -> Layer:
    medium = _medium(layer)
    thickness = _thickness(layer, medium, 0.0, 0.0, text("tube.filter"), draw)
    gap = getattr(layer, "gap_mm", None)
    return Layer(
        medium,
        thickness,
        coverage=float(getattr(layer, "coverage", 1.0)),
        ends=bool(getattr(layer, "ends", False)),
        gap_cm=gap.middle * 0.1 if gap is not None else 0.0,
    )
