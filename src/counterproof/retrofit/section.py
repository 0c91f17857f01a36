"""The probe in section: outlines, hatches and dimensions, drawn to scale as SVG and as DXF.

One list of shapes in millimetres feeds both drawings, so they cannot contradict each other, and the
housing of :mod:`.housing` is built from the same dimensions. The axis of the tube lies along x, the
cable leaves on the left.
"""

from __future__ import annotations

import io
import math
from dataclasses import dataclass, field
from html import escape
from typing import Any, Literal

from counterproof.errors import UserError
from counterproof.kit.layers import Layer as KitLayer
from counterproof.kit.probe import Probe
from counterproof.kit.to_tube import tube_model
from counterproof.kit.tube import Tube
from counterproof.texts import text

Kind = Literal["wall", "tube", "filter", "gas", "resistor", "gland", "window"]
Box = tuple[float, float, float, float]

PLAY_MM = 0.5
"""Gap between a tube (with its sleeves) and the bore; common practice, no source."""
RESISTOR_ROOM_MM = 22.0
"""Length kept behind the tube for clip, resistor and strain relief; common practice, no source."""
WALL_MM, CAP_MM, SPIGOT_MM, SPIGOT_PLAY_MM, GLAND_MM = 2.0, 3.0, 8.0, 0.1, 7.0
"""Printed wall, cap, its spigot with its play, and the hole of a small cable gland; common
practice, no source."""


@dataclass(frozen=True, slots=True)
class Dimensions:
    """A slim probe in millimetres; the housing is a tube closed in front, with a cap behind.

    Args:
        tube_diameter: outside of the tube.
        tube_length: outside length.
        sleeves: (material, thickness) from the tube outwards.
        wall: of the housing.
        front: thickness of its front.
        bore: inner diameter.
        cavity: inner length.
        cap: thickness of the cap's plate.
        spigot: how far the cap reaches into the bore.
        gland: diameter of the hole for the gland.
        windows: number of slots around the housing beside the tube (its open part); 0 for none.
        window_length: of each slot.
        window_share: share of the circumference that the slots take.
    """

    tube_diameter: float
    tube_length: float
    sleeves: tuple[tuple[str, float], ...] = ()
    wall: float = WALL_MM
    front: float = WALL_MM
    bore: float = 0.0
    cavity: float = 0.0
    cap: float = CAP_MM
    spigot: float = SPIGOT_MM
    gland: float = GLAND_MM
    windows: int = 0
    window_length: float = 0.0
    window_share: float = 0.0

    @property
    def outer_diameter(self) -> float:
        """Of the housing."""
        return self.bore + 2.0 * self.wall

    @property
    def length(self) -> float:
        """Of the whole probe, gland apart."""
        return self.front + self.cavity + self.cap

    @property
    def tube_span(self) -> tuple[float, float]:
        """Where the tube lies along the axis, from the cap's outside at 0 to the front."""
        right = self.length - self.front - PLAY_MM
        return right - self.tube_length, right

    @property
    def slot_span(self) -> tuple[float, float]:
        """Where the slots lie along the axis."""
        middle = 0.5 * sum(self.tube_span)
        return middle - self.window_length / 2.0, middle + self.window_length / 2.0

    @property
    def slot_width(self) -> float:
        """Width of a slot, along the circumference of the outside."""
        share = self.window_share / self.windows if self.windows else 0.0
        return math.pi * self.outer_diameter * share

    @property
    def spigot_radii(self) -> tuple[float, float]:
        """Inner and outer radius of the cap's spigot."""
        b = self.bore / 2.0
        return max(b - WALL_MM, self.gland / 2.0 + 0.2), b - SPIGOT_PLAY_MM

    @property
    def sleeved_diameter(self) -> float:
        """Of the tube in its sleeves."""
        return self.tube_diameter + 2.0 * sum(t for _, t in self.sleeves)


def dimensions_of(tube: Tube, probe: Probe) -> Dimensions:
    """Return the dimensions of a probe as described; what is not stated follows from the tube.

    Raises:
        UserError: for a pancake, a tube without outside, or a housing too small for the tube.
    """
    if tube.form != "slim":
        raise UserError(text("section.slim_only", name=tube.name))
    model = tube_model(tube).nominal
    diameter = (
        tube.outer_diameter_mm.high if tube.outer_diameter_mm else 20.0 * model.outer_radius_cm
    )
    length = tube.length_mm.high if tube.length_mm else 10.0 * model.length_cm + 10.0
    sleeves = tuple((f.material, _millimetres(f)) for f in (*tube.filter, *probe.filter))
    housing = probe.housing
    wall = _millimetres(housing.wall) if housing and housing.wall else WALL_MM
    needed = diameter + 2.0 * sum(t for _, t in sleeves) + 2.0 * PLAY_MM
    bore = needed
    cavity = length + RESISTOR_ROOM_MM
    if housing and housing.outer_diameter_mm:
        bore = housing.outer_diameter_mm.middle - 2.0 * wall
        if bore < needed - 1e-9:
            raise UserError(text("section.narrow", bore=f"{bore:.1f}", needed=f"{needed:.1f}"))
    if housing and housing.length_mm:
        cavity = housing.length_mm.middle - wall - CAP_MM
        if cavity < length:
            raise UserError(text("section.short", cavity=f"{cavity:.1f}", length=f"{length:.1f}"))
    share = housing.open_fraction if housing and housing.open_fraction else 0.0
    return Dimensions(
        diameter, length, sleeves, wall, wall, bore, cavity,
        gland=min(GLAND_MM, bore - 2.0),
        windows=4 if share > 0.0 else 0,
        window_length=0.8 * length if share > 0.0 else 0.0,
        window_share=min(share / 0.8, 0.8),
    )  # fmt: skip


def _millimetres(layer: KitLayer) -> float:
    if layer.thickness_mm is not None:
        return layer.thickness_mm.middle
    from counterproof.physics.sheets import sheet

    assert layer.areal_density_mg_cm2 is not None
    made = sheet(layer.material, None, layer.areal_density_mg_cm2.middle, None)
    return 10.0 * made.thickness_cm


@dataclass(frozen=True, slots=True)
class Rectangle:
    """A cut part: left, bottom, right, top in mm."""

    kind: Kind
    box: Box
    layer: str


@dataclass(frozen=True, slots=True)
class Measure:
    """A dimension: from, to, how far outside the part its line lies, and its text.

    ``along`` is ``"x"`` for a length below the part, ``"y"`` for a diameter beside it.
    """

    along: Literal["x", "y"]
    start: float
    end: float
    at: float
    text: str


@dataclass(frozen=True)
class Section:
    """A drawing: cut parts, dimensions, labels (x, y, text), title."""

    parts: tuple[Rectangle, ...]
    measures: tuple[Measure, ...]
    labels: tuple[tuple[float, float, str], ...]
    title: str
    size: Box = field(default=(0.0, 0.0, 0.0, 0.0))


def section_of(d: Dimensions, title: str) -> Section:
    """Lay out the section: the cap on the left at x = 0, the front on the right."""
    r, b, o = d.tube_diameter / 2.0, d.bore / 2.0, d.outer_diameter / 2.0
    end = d.length
    inside = end - d.front
    (tube_left, tube_right), slot = d.tube_span, d.slot_span
    lengths = [(d.cap, end)] if not d.windows else [(d.cap, slot[0]), (slot[1], end)]
    parts = [
        Rectangle("wall", (left, low, right, high), "housing")
        for left, right in lengths
        for low, high in ((b, o), (-o, -b))
    ]
    parts += [
        Rectangle("wall", (inside, -b, end, b), "housing"),
        Rectangle("wall", (0.0, d.gland / 2.0, d.cap, o), "cap"),
        Rectangle("wall", (0.0, -o, d.cap, -d.gland / 2.0), "cap"),
    ]
    low, high = d.spigot_radii
    parts += [
        Rectangle("wall", (d.cap, low, d.cap + d.spigot, high), "cap"),
        Rectangle("wall", (d.cap, -high, d.cap + d.spigot, -low), "cap"),
        Rectangle("tube", (tube_left, -r, tube_right, r), "tube"),
        Rectangle("gas", (tube_left + 2.0, -0.85 * r, tube_right - 2.0, 0.85 * r), "tube"),
    ]
    inner = r
    for _, thickness in d.sleeves:
        for low, high in ((inner, inner + thickness), (-inner - thickness, -inner)):
            parts.append(Rectangle("filter", (tube_left, low, tube_right, high), "filter"))
        inner += thickness
    x = max(d.cap + d.spigot + 1.0, tube_left - 9.0)
    parts.append(Rectangle("resistor", (x, -1.3, min(x + 7.0, tube_left - 1.0), 1.3), "parts"))
    parts.append(Rectangle("gland", (-6.0, -d.gland / 2.0, 0.0, d.gland / 2.0), "parts"))
    if d.windows:
        parts += [
            Rectangle("window", (slot[0], low, slot[1], high), "window")
            for low, high in ((b, o), (-o, -b))
        ]
    step = 7.0
    measures = (
        Measure("x", tube_left, tube_right, -o - step, f"{d.tube_length:.1f}"),
        Measure("x", d.cap, inside, -o - 2.0 * step, f"{d.cavity:.1f}"),
        Measure("x", 0.0, end, -o - 3.0 * step, f"{end:.1f}"),
        Measure("x", 0.0, d.cap, o + step, f"{d.cap:.1f}"),
        Measure("x", inside, end, o + step, f"{d.front:.1f}"),
        Measure("y", -r, r, end + step, f"⌀{d.tube_diameter:.1f}"),
        Measure("y", -b, b, end + 2.7 * step, f"⌀{d.bore:.1f}"),
        Measure("y", -o, o, end + 4.4 * step, f"⌀{d.outer_diameter:.1f}"),
        Measure("y", -d.gland / 2.0, d.gland / 2.0, -12.0, f"⌀{d.gland:.1f}"),
    )
    labels = [(0.5 * (tube_left + tube_right), 0.3 * r, text("section.tube"))]
    labels.append((x + 3.0, -3.6, text("section.resistor")))
    above = o + 2.0 * step
    for k, (name, thickness) in enumerate(d.sleeves):
        said = text("section.sleeve", material=name, thickness=f"{thickness:g}")
        labels.append((0.5 * (tube_left + tube_right), above + 4.0 * k, said))
    if d.windows:
        said = text(
            "section.windows", number=d.windows, length=f"{d.window_length:.1f}",
            width=f"{d.slot_width:.1f}",
        )  # fmt: skip
        labels.append((0.5 * (tube_left + tube_right), above + 4.0 * len(d.sleeves), said))
    top = above + 4.0 * (len(d.sleeves) + (1 if d.windows else 0)) + 6.0
    size = (-22.0, -o - 3.0 * step - 6.0, end + 4.4 * step + 14.0, top)
    return Section(tuple(parts), measures, tuple(labels), title, size)


_FILL = {"wall": "url(#cut)", "filter": "url(#foil)"}
_DASH = {"window": ' stroke-dasharray="1.5 1"', "gas": ' stroke-width="0.15"'}


def section_svg(section: Section) -> str:
    """Return the section as SVG in millimetres; ink follows the page (``currentColor``)."""
    x0, y0, x1, y1 = section.size
    width, height = x1 - x0, y1 - y0
    out = io.StringIO()
    out.write(
        f'<svg xmlns="http://www.w3.org/2000/svg" role="img" width="{width:.1f}mm" '
        f'height="{height:.1f}mm" viewBox="{x0:.2f} {-y1:.2f} {width:.2f} {height:.2f}" '
        'style="max-width:100%;height:auto" font-family="serif" font-size="3" '
        'stroke="currentColor" stroke-width="0.3" fill="none">'
        f"<title>{escape(section.title, quote=False)}</title>"
        '<defs><pattern id="cut" width="2" height="2" patternUnits="userSpaceOnUse" '
        'patternTransform="rotate(45)"><path d="M0 0V2" stroke-width="0.25"/></pattern>'
        '<pattern id="foil" width="0.8" height="0.8" patternUnits="userSpaceOnUse" '
        'patternTransform="rotate(-45)"><path d="M0 0V0.8" stroke-width="0.4"/></pattern></defs>'
    )
    for part in section.parts:
        a, b, c, d = part.box
        out.write(
            f'<rect x="{a:.3f}" y="{-d:.3f}" width="{c - a:.3f}" height="{d - b:.3f}" '
            f'fill="{_FILL.get(part.kind, "none")}"{_DASH.get(part.kind, "")}/>'
        )
    out.write(f'<path d="M{x0 + 2:.2f} 0H{x1 - 2:.2f}" stroke-width="0.15" '
              'stroke-dasharray="5 1.2 1 1.2"/>')  # fmt: skip
    for m in section.measures:
        out.write(_measure_svg(m))
    for x, y, said in section.labels:
        out.write(_text_svg(x, y, said))
    out.write(f"{_text_svg(0.5 * (x0 + x1), y1 - 3.5, section.title, 3.6)}</svg>")
    return out.getvalue()


def _measure_svg(m: Measure) -> str:
    if m.along == "x":
        line = f"M{m.start:.3f} {-m.at:.3f}H{m.end:.3f}"
        ends = "".join(f"M{x:.3f} {-m.at - 1.2:.3f}v2.4" for x in (m.start, m.end))
        label = _text_svg(0.5 * (m.start + m.end), m.at + 0.8, m.text)
    else:
        line = f"M{m.at:.3f} {-m.start:.3f}V{-m.end:.3f}"
        ends = "".join(f"M{m.at - 1.2:.3f} {-y:.3f}h2.4" for y in (m.start, m.end))
        label = _text_svg(m.at, max(m.start, m.end) + 1.2, m.text)
    return f'<path d="{line}{ends}" stroke-width="0.2"/>{label}'


def _text_svg(x: float, y: float, said: str, size: float = 3.0) -> str:
    return (
        f'<text x="{x:.2f}" y="{-y:.2f}" text-anchor="middle" font-size="{size}" stroke="none" '
        f'fill="currentColor">{escape(said, quote=False)}</text>'
    )


def section_dxf(section: Section) -> str:
    """Return the section as DXF (R2010, millimetres), each kind of part on a layer of its own.

    Raises:
        UserError: if ezdxf (the extra ``drawings``) is not installed.
    """
    try:
        from ezdxf.document import Drawing
        from ezdxf.enums import TextEntityAlignment
    except ImportError:
        raise UserError(text("section.no_ezdxf")) from None
    document: Any = Drawing.new("R2010")
    document.header["$INSUNITS"] = 4  # millimetres
    space: Any = document.modelspace()
    for name in (*dict.fromkeys(p.layer for p in section.parts), "dimensions", "text", "axis"):
        document.layers.add(name)
    for part in section.parts:
        a, b, c, d = part.box
        outline = [(a, b), (c, b), (c, d), (a, d)]
        space.add_lwpolyline(outline, close=True, dxfattribs={"layer": part.layer})
        if part.kind in ("wall", "filter"):
            hatch = space.add_hatch(dxfattribs={"layer": part.layer})
            hatch.set_pattern_fill("ANSI31", scale=0.5 if part.kind == "wall" else 0.2)
            hatch.paths.add_polyline_path(outline, is_closed=True)
    x0, _, x1, y1 = section.size
    space.add_line((x0 + 2.0, 0.0), (x1 - 2.0, 0.0), dxfattribs={"layer": "axis"})
    style = {"dimtxt": 2.5, "dimasz": 1.5, "dimexe": 1.0, "dimexo": 0.5, "dimdec": 1}
    for m in section.measures:
        if m.along == "x":
            dim = space.add_linear_dim(
                base=(m.start, m.at), p1=(m.start, 0.0), p2=(m.end, 0.0), text=m.text,
                override=style, dxfattribs={"layer": "dimensions"},
            )  # fmt: skip
        else:
            dim = space.add_linear_dim(
                base=(m.at, m.start), p1=(0.0, m.start), p2=(0.0, m.end), angle=90, text=m.text,
                override=style, dxfattribs={"layer": "dimensions"},
            )  # fmt: skip
        dim.render()
    for x, y, said in (*section.labels, (0.5 * (x0 + x1), y1 - 3.5, section.title)):
        entity = space.add_text(said, height=2.5, dxfattribs={"layer": "text"})
        entity.set_placement((x, y), align=TextEntityAlignment.MIDDLE_CENTER)
    stream = io.StringIO()
    document.write(stream)
    return stream.getvalue()
