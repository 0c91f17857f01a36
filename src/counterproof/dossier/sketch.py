"""Draw how source and counter stood: side view, not to scale, labelled with what was noted."""

from __future__ import annotations

import math
from html import escape

from counterproof.charts.theme import FAINT, INK, inked
from counterproof.dossier.shown import value
from counterproof.records.publication import Sketch
from counterproof.texts import text

WIDTH, HEIGHT = 260, 96
_Y = 44.0


def caption(sketch: Sketch) -> str:
    """Return what a sketch shows, in words."""
    who = ", ".join(sketch.instruments)
    if not sketch.source:
        return text("dossier.sketch_background", who=who)
    words = text("dossier.sketch_source", source=sketch.source, who=who)
    if sketch.angle_deg:
        words += text("dossier.sketch_angle", angle=f"{sketch.angle_deg:g}")
    if sketch.absorbers:
        words += text("dossier.sketch_behind", layers=" + ".join(_layers(sketch)))
    return words


def _layers(sketch: Sketch) -> list[str]:
    shown = []
    for a in sketch.absorbers:
        much = (
            f"{a.thickness_mm:g} mm"
            if a.thickness_mm is not None
            else f"{a.areal_density_mg_cm2:g} mg/cm²"
        )
        shown.append(f"{much} {a.material}")
    return shown


def drawing(sketch: Sketch, for_page: bool = True) -> str:
    """Return the sketch as SVG: source left, counter right, the distance between them."""
    parts = []
    left, right = 34.0, 196.0
    if sketch.source:
        parts.append(f'<circle cx="{left}" cy="{_Y}" r="6" fill="{INK}"/>')
        parts.append(
            f'<path d="M{left} {_Y + 22}H{right}M{left} {_Y + 18}v8M{right} {_Y + 18}v8" '
            f'stroke="{FAINT}" fill="none"/>'
        )
        distance = (
            text("dossier.sketch_no_distance")
            if sketch.distance_mm is None
            else f"{value(sketch.distance_mm)} mm"
        )
        parts.append(_label((left + right) / 2, _Y + 40, distance))
        parts.append(f'<path d="M{left + 9} {_Y}H{right - 26}" stroke="{FAINT}" '
                     'stroke-dasharray="3 3"/>')  # fmt: skip
    for number in range(len(sketch.absorbers)):
        x = left + 34 + 12 * number
        parts.append(
            f'<rect x="{x}" y="{_Y - 22}" width="6" height="40" fill="{FAINT}" stroke="{INK}"/>'
        )
    angle = sketch.angle_deg
    parts.append(
        f'<g transform="rotate({angle:g} {right} {_Y})">'
        f'<rect x="{right - 11}" y="{_Y - 26}" width="22" height="52" rx="9" '
        f'fill="none" stroke="{INK}" stroke-width="1.6"/>'
        f'<path d="M{right} {_Y - 18}V{_Y + 18}" stroke="{INK}"/></g>'
    )
    if angle:
        end_x = right - 40 * math.cos(math.radians(angle))
        end_y = _Y - 40 * math.sin(math.radians(angle))
        parts.append(f'<path d="M{right} {_Y}L{end_x:.1f} {end_y:.1f}" stroke="{FAINT}"/>')
        parts.append(_label(right + 36, _Y - 22, f"{angle:g}°"))
    name = escape(caption(sketch), quote=True)
    drawn = (
        f'<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 {WIDTH} {HEIGHT}" width="{WIDTH}" '
        f'height="{HEIGHT}" role="img" aria-label="{name}">{"".join(parts)}</svg>'
    )
    return inked(drawn) if for_page else drawn


def _label(x: float, y: float, words: str) -> str:
    return (
        f'<text x="{x:g}" y="{y:g}" text-anchor="middle" font-family="Proof Serif" '
        f'font-size="13" fill="{INK}">{escape(words)}</text>'
    )
