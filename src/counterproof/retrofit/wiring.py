"""Wiring diagram of a box with its internal tube, a probe and a changeover switch, as SVG.

The drawing shows a resistor with each tube, at the tube; bleeders on both sides of the switch, as
an unplugged or switched-off probe holds its charge; and the shield. Drawn by schemdraw (the extra
``drawings``), imported late.
"""

from __future__ import annotations

from dataclasses import dataclass
from html import escape
from itertools import pairwise
from typing import Any, Literal

from counterproof.circuits.safety import cautions, discharge_time_s
from counterproof.errors import UserError
from counterproof.kit.instrument import Instrument
from counterproof.kit.probe import Probe
from counterproof.kit.tube import Tube
from counterproof.retrofit.compatibility import cable_capacitance_f, stated
from counterproof.texts import text


@dataclass(frozen=True, slots=True)
class Wiring:
    """What the diagram shows; ``None`` where it is not known.

    Args:
        title: the drawing's title.
        internal_tube: name of the tube built in; ``None`` draws no internal tube and no switch.
        probe_tube: name of the probe's tube.
        voltage_v: supply without load.
        internal_ohm: resistor of the internal tube.
        probe_ohm: resistor of the probe's tube.
        resistor_at: the end of the cable where the probe's resistor sits.
        cable: designation and length, as printed.
        cable_f: capacitance of the cable.
        pickoff: where the box takes its pulses.
        bleed_ohm: each bleeder.
        reservoir_f: capacitance of the supply's output.
    """

    title: str
    internal_tube: str | None
    probe_tube: str
    voltage_v: float | None = None
    internal_ohm: float | None = None
    probe_ohm: float | None = None
    resistor_at: Literal["tube", "box"] = "tube"
    cable: str = ""
    cable_f: float | None = None
    pickoff: Literal["cathode", "anode"] = "cathode"
    bleed_ohm: float = 1e9
    reservoir_f: float | None = None

    def notes(self) -> tuple[str, ...]:
        """Return what to know before building: discharge time, the resistor's end, cautions."""
        said = []
        if self.voltage_v and self.reservoir_f:
            wait = float(discharge_time_s(self.reservoir_f, self.bleed_ohm, self.voltage_v))
            said.append(text("wiring.wait", seconds=f"{3 * wait:.0f}", volts=f"{self.voltage_v:g}"))
        if self.resistor_at == "box":
            said.append(text("wiring.wrong_end"))
        return (*said, text("wiring.check"), *cautions())


def wiring_of(
    instrument: Instrument,
    probe: Probe,
    probe_tube: Tube,
    pickoff: Literal["cathode", "anode"] = "cathode",
    bleed_ohm: float = 1e9,
    reservoir_f: float | None = None,
) -> Wiring:
    """Return the wiring of an instrument and a probe as their files describe them.

    Raises:
        UserError: if a quantity in them cannot be read.
    """
    supply = instrument.supply
    sheet = probe_tube.datasheet.anode_resistor_mohm
    own = stated(probe.anode_resistor, "ohm") or (sheet.middle * 1e6 if sheet else None)
    cable, cable_f = "", None
    if probe.cable is not None:
        cable = f"{probe.cable.kind} {probe.cable.length}".strip()
        cable_f = cable_capacitance_f(probe.cable)
    return Wiring(
        text("wiring.title", instrument=instrument.name, probe=probe.name),
        instrument.tube,
        probe_tube.name,
        stated(supply.voltage, "V"),
        stated(supply.anode_resistor, "ohm"),
        own,
        probe.resistor_at,
        cable,
        cable_f,
        pickoff,
        bleed_ohm,
        reservoir_f,
    )


def resistance_text(ohm: float | None) -> str:
    """Return a resistance as a drawing shows it, such as ``4.7 MΩ``; ``?`` if unknown."""
    if ohm is None:
        return "?"
    for size, unit in ((1e9, "GΩ"), (1e6, "MΩ"), (1e3, "kΩ")):
        if ohm >= size:
            return f"{ohm / size:.3g} {unit}"
    return f"{ohm:.3g} Ω"


def _tools() -> tuple[Any, Any]:
    try:
        import schemdraw
        import schemdraw.elements as elm
    except ImportError:
        raise UserError(text("wiring.no_schemdraw")) from None
    return schemdraw, elm


def _tube_class(elm: Any) -> Any:
    """A counting tube lying across the drawing: capsule as cathode, wire as anode."""
    from schemdraw.segments import Segment, SegmentCircle
    from schemdraw.util import Point

    class CountingTube(elm.Element):  # type: ignore[misc]
        """Anode on the left, cathode below; about 3 units long."""

        def __init__(self, **kwargs: Any) -> None:
            super().__init__(**kwargs)
            top, ends = 0.45, (0.7, 3.1)
            outline = [(ends[0], top), (ends[1], top), (ends[1], -top), (ends[0], -top)]
            self.segments.append(Segment([*outline, outline[0]], lw=2.4))
            self.segments.append(Segment([(0, 0), (2.8, 0)], lw=1.4))
            self.segments.append(SegmentCircle((2.8, 0), 0.06, fill=True))
            middle = (ends[0] + ends[1]) / 2
            self.segments.append(Segment([(middle, -top), (middle, -1.0)]))
            self.anchors.update(
                start=Point((0, 0)), anode=Point((0, 0)), cathode=Point((middle, -1.0)),
                end=Point((ends[1], 0)), over=Point((middle, top + 0.15)),
            )  # fmt: skip

    return CountingTube


def wiring_svg(wiring: Wiring) -> str:
    """Return the diagram as SVG text.

    Colours follow the page (``currentColor``); title and description are part of the picture.

    Raises:
        UserError: if schemdraw is not installed.
    """
    schemdraw, elm = _tools()
    tube_class = _tube_class(elm)
    schemdraw.svgconfig.text = "text"
    drawing = schemdraw.Drawing(canvas="svg", show=False)
    drawing.config(fontsize=11, lw=1.5, unit=2.6, color="black", bgcolor=None, font="serif")
    _draw(drawing, elm, tube_class, wiring)
    svg: str = drawing.get_imagedata("svg").decode()
    described = f"<title>{escape(wiring.title, quote=False)}</title>"
    head, _, rest = svg.partition(">")
    if head.startswith("<?xml"):
        head, _, rest = rest.partition(">")
    head = head.strip().replace("<svg", '<svg role="img" style="max-width:100%;height:auto"', 1)
    return f"{head}>{described}{rest}".replace("black", "currentColor")


def _draw(drawing: Any, elm: Any, tube_class: Any, w: Wiring) -> None:
    """Place everything: supply and switch on the left, cable and probe on the right."""
    cathode, switched = w.pickoff == "cathode", w.internal_tube is not None
    up, low, bus = 2.2, -2.6, -5.0

    def line(*points: tuple[float, float]) -> None:
        for a, b in pairwise(points):
            drawing.add(elm.Line().at(a).to(b))

    def dot(at: tuple[float, float]) -> None:
        drawing.add(elm.Dot().at(at))

    def written(at: tuple[float, float], said: str, where: str = "left") -> None:
        # schemdraw centres the box of the letters, the eye their x-height: lift by a little
        placed = (at[0], at[1] + 0.12)
        drawing.add(elm.Label().at(placed).label(said, halign=where, valign="center"))

    def note(at: tuple[float, float], key: str, where: str = "left") -> None:
        written(at, text(f"wiring.{key}"), where)

    def part(kind: Any, a: tuple[float, float], b: tuple[float, float], label: str) -> None:
        drawing.add(kind().at(a).to(b))
        across = a[1] == b[1]
        at = ((a[0] + b[0]) / 2, a[1] + 0.6) if across else (a[0] + 0.4, (a[1] + b[1]) / 2)
        where = "center" if across else "left"
        written(at, label, where)

    def frame(corner: tuple[float, float], other: tuple[float, float], key: str) -> None:
        (x0, y0), (x1, y1) = corner, other
        for a, b in pairwise(((x0, y0), (x1, y0), (x1, y1), (x0, y1), (x0, y0))):
            drawing.add(elm.Line().at(a).to(b).linestyle("--").linewidth(1))
        note((x0 + 0.2, y1 + 0.35), key)

    def tube(at: tuple[float, float], name: str) -> tuple[float, float]:
        placed = drawing.add(tube_class().at(at).anchor("start").theta(0))
        where = (placed.over[0], placed.over[1] + 0.25)
        written(where, name, "center")
        return (float(placed.cathode[0]), float(placed.cathode[1]))

    # supply, its bleeder, and what the pulse of the anode needs
    drawing.add(elm.SourceV().at((0, -4.4)).to((0, -1.0)))
    volts = f"{w.voltage_v:g} V" if w.voltage_v else "?"
    written((-0.75, -2.7), volts, "right")
    note((-0.2, 0.5), "supply")
    line((0, -1.0), (0, 0), (2.4, 0))
    drawing.add(elm.Ground().at((0, -4.4)))
    dot((2.4, 0))
    part(elm.ResistorIEC, (2.4, 0), (2.4, -3.4), resistance_text(w.bleed_ohm))
    drawing.add(elm.Ground().at((2.4, -3.4)))
    note((2.8, -2.2), "bleeder")
    if cathode:
        line((2.4, 0), (6, 0))
    else:
        part(elm.ResistorIEC, (2.8, 0), (5.0, 0), text("wiring.load"))
        line((2.4, 0), (2.8, 0))
        line((5.0, 0), (6, 0))
        dot((5.4, 0))
        line((5.4, 0), (5.4, -1.6))
        part(elm.Capacitor, (5.4, -1.6), (5.4, -2.9), "")
        line((5.4, -2.9), (5.4, bus + 0.6))

    # changeover switch: either tube, never both
    if switched:
        drawing.add(elm.Line().at((6, 0)).to((6.95, 0.72)).linewidth(2.4))
        for at in ((6, 0), (7, 0.8), (7, -0.8)):
            drawing.add(elm.Dot(open=True).at(at))
        note((6.1, 1.3), "switch", "center")
        line((7.08, 0.8), (7.6, 0.8), (7.6, up), (9.2, up))
        line((7.08, -0.8), (7.6, -0.8), (7.6, low), (8.2, low))
        part(elm.ResistorIEC, (8.2, low), (10.4, low), resistance_text(w.internal_ohm))
        x, y = tube((10.4, low), str(w.internal_tube))
        line((x, y), (x, bus))
        dot((x, bus))
    else:
        line((6, 0), (7.6, 0), (7.6, up), (9.2, up))

    # the socket's own bleeder, then out to the probe
    dot((9.2, up))
    part(elm.ResistorIEC, (9.2, up), (9.2, -0.2), resistance_text(w.bleed_ohm))
    drawing.add(elm.Ground().at((9.2, -0.2)))
    note((9.6, 0.55), "bleeder")
    if w.resistor_at == "box":
        line((9.2, up), (10.8, up))
        part(elm.ResistorIEC, (10.8, up), (13.0, up), resistance_text(w.probe_ohm))
        line((13.0, up), (14.9, up))
    else:
        line((9.2, up), (14.9, up))
    drawing.add(elm.Dot(open=True).at((14.9, up)))
    coax = drawing.add(elm.Coax(length=4.0).at((15.0, up)).theta(0))
    written((17.0, up + 0.6), w.cable or "?", "center")
    right = 19.8
    if w.resistor_at == "tube":
        line((19.0, up), (right, up))
        part(elm.ResistorIEC, (right, up), (22.0, up), resistance_text(w.probe_ohm))
    else:
        line((19.0, up), (22.0, up))
    x, y = tube((22.0, up), w.probe_tube)
    line((x, y), (x, 0.6), (coax.shieldend[0], 0.6), tuple(coax.shieldend))
    note((17.0, 1.25), "shield" if cathode else "shield_ground", "center")
    note((14.6, up + 0.4), "live_pin", "right")
    line(tuple(coax.shieldstart), (coax.shieldstart[0], 0.6), (14.9, 0.6))
    drawing.add(elm.Dot(open=True).at((14.9, 0.6)))
    line((14.8, 0.6), (14.3, 0.6), (14.3, bus), (6.6, bus))
    note((13.0, bus + 0.35), "cathodes", "center") if not switched else None

    # input of the box
    for a, b in pairwise(
        ((4.2, bus - 0.6), (6.6, bus - 0.6), (6.6, bus + 0.6), (4.2, bus + 0.6), (4.2, bus - 0.6))
    ):
        drawing.add(elm.Line().at(a).to(b))
    note((5.4, bus), "input", "center")
    dot((9.2, bus))
    if cathode:
        part(elm.ResistorIEC, (9.2, bus), (9.2, bus - 1.8), text("wiring.pulse_resistor"))
        drawing.add(elm.Ground().at((9.2, bus - 1.8)))
    else:
        drawing.add(elm.Ground().at((9.2, bus)))
    frame((-2.4, -7.9 if cathode else -6.5), (14.85, 3.8), "box")
    frame((19.4, -0.3), (26.0, 3.8), "probe")
