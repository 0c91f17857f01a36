"""The build sheet of a probe: parts, order of work, measured checks before power-on, cautions.

Values come from the kit's files and the circuit's figures; where they are silent the line says
what to find out instead of a number. Good practice in it is common practice, no source.
"""

from __future__ import annotations

from collections.abc import Sequence
from html import escape

from counterproof.circuits.cables import loading
from counterproof.circuits.measuring import meter_reading_v
from counterproof.circuits.safety import discharge_time_s, stored_energy
from counterproof.kit.instrument import Instrument
from counterproof.kit.probe import Probe
from counterproof.kit.tube import Tube
from counterproof.records.build import BuildCheck, BuildPart, BuildSheet
from counterproof.retrofit.compatibility import STRAY_PF, TUBE_PF, Compatibility
from counterproof.retrofit.section import Dimensions, section_of, section_svg
from counterproof.retrofit.wiring import Wiring, resistance_text, wiring_svg
from counterproof.texts import text

RESERVOIR_F = 10e-9
"""Output capacitor of a small high-voltage converter, where nothing is stated; common practice, no
source."""
METER_OHM = 10e6
"""An ordinary multimeter; common practice, no source."""
PROBE_OHM = 1e9
"""A high-ohm probe, or a chain of resistors, for measuring the voltage."""


def _t(key: str, **values: object) -> str:
    return text(f"build.{key}", **values)


def parts_of(tube: Tube, probe: Probe, wiring: Wiring, d: Dimensions) -> tuple[BuildPart, ...]:
    """Return the parts list."""
    volts = wiring.voltage_v
    rated = _t("rated", volts=f"{1.5 * volts:.0f}") if volts else _t("rated_unknown")
    rows: list[tuple[int, str, str, str]] = [
        (1, _t("part.tube"), tube.name, _t("part.tube_note")),
        (1, _t("part.resistor"), resistance_text(wiring.probe_ohm), rated),
        (2, _t("part.bleeder"), resistance_text(wiring.bleed_ohm), rated),
    ]
    if probe.cable is not None:
        rows.append((1, _t("part.cable"), wiring.cable, rated))
        rows.append((1, _t("part.connector"), _t("part.connector_kind"), rated))
    if wiring.internal_tube is not None:
        rows.append((1, _t("part.switch"), _t("part.switch_kind"), rated))
    rows.append(
        (1, _t("part.housing"), f"⌀{d.outer_diameter:.1f} × {d.length:.1f} mm", _t("part.printed"))
    )
    rows.append((1, _t("part.gland"), f"⌀{d.gland:.1f} mm", _t("part.gland_note")))
    for name, thickness in d.sleeves:
        size = f"{thickness:g} mm × {3.1416 * d.sleeved_diameter:.0f} × {d.tube_length:.0f} mm"
        rows.append((1, _t("part.sleeve", material=name), size, _t("part.sleeve_note")))
    return tuple(BuildPart(number=n, what=w, value=v, note=x) for n, w, v, x in rows)


def steps_of(tube: Tube, probe: Probe, wiring: Wiring) -> tuple[str, ...]:
    """Return the order of work."""
    keys = ["photograph", "cell", "discharge", "voltage", "housing", "resistor_tube"]
    if probe.resistor_at == "box":
        keys[-1] = "resistor_box"
    if probe.cable is not None:
        keys += ["cable", "bleeders"]
    if wiring.internal_tube is not None:
        keys.append("switch")
    if probe.filter or tube.filter:
        keys.append("sleeve")
    keys.append("insulate")
    if tube.window or tube.construction in ("mica window", "glass", "thin metal"):
        keys.append("light")
    keys += ["checks", "power", "plateau", "note"]
    wait = _wait(wiring)
    return tuple(_t(f"step.{k}", wait=wait) for k in keys)


def _wait(wiring: Wiring) -> str:
    if not wiring.voltage_v:
        return "60"
    store = wiring.reservoir_f or RESERVOIR_F
    seconds = 3.0 * float(discharge_time_s(store, wiring.bleed_ohm, wiring.voltage_v))
    return f"{max(seconds, 10.0):.0f}"


def checks_of(tube: Tube, wiring: Wiring) -> tuple[BuildCheck, ...]:
    """Return the measurements before power-on, with what each should give."""
    bleed, r = wiring.bleed_ohm, wiring.probe_ohm

    def check(key: str, expected: str) -> BuildCheck:
        return BuildCheck(what=_t(f"check.{key}"), how=_t(f"check.{key}_how"), expected=expected)

    rows = [check("resistor", _within(r, 0.1)), check("bleeder", _within(bleed, 0.1))]
    rows.append(check("insulation", _t("above", value=resistance_text(0.9 * bleed))))
    rows.append(check("shield", _t("below", value="1 Ω")))
    if wiring.internal_tube is not None:
        rows.append(check("switch", _t("never_both")))
    if tube.window or tube.construction in ("mica window", "glass"):
        rows.append(check("window", _t("whole")))
    volts = wiring.voltage_v
    if volts:
        seen = float(meter_reading_v(volts, r or 0.0, METER_OHM))
        high = float(meter_reading_v(volts, r or 0.0, PROBE_OHM))
        rows.append(check("voltage", _t("meter", low=f"{seen:.0f}", high=f"{high:.0f}",
                                        volts=f"{volts:.0f}")))  # fmt: skip
    maximum = tube.datasheet.maximum_v
    limit = f"{maximum.low:.0f} V" if maximum else _t("ask_sheet")
    rows.append(check("maximum", _t("below", value=limit)))
    return tuple(rows)


def _within(ohm: float | None, share: float) -> str:
    if ohm is None:
        return _t("ask_sheet")
    return _t(
        "between", low=resistance_text(ohm * (1 - share)), high=resistance_text(ohm * (1 + share))
    )


def notes_of(
    tube: Tube, probe: Probe, wiring: Wiring, compatible: Compatibility
) -> tuple[str, ...]:
    """Return what the drawing does not show: energy, loads, the paint in a window, verdicts."""
    said = [c.statement for c in compatible.checks if c.verdict != "fits"]
    if wiring.voltage_v:
        store = wiring.reservoir_f or RESERVOIR_F
        held = stored_energy(store + (wiring.cable_f or 0.0), wiring.voltage_v)
        energy, share = f"{1e3 * held.energy_j:.2g}", f"{100 * held.of_limit:.0f}"
        said.append(_t("energy", mj=energy, percent=share, limit=held.limit))
    capacity = tube.datasheet.capacitance_pf
    own = (capacity.middle if capacity else TUBE_PF) * 1e-12
    loaded = loading(own, STRAY_PF * 1e-12, wiring.cable_f or 0.0, probe.resistor_at)
    said.append(_t("loads", pf=f"{1e12 * loaded.anode_f:.0f}"))
    if wiring.internal_tube is not None:
        said.append(_t("switch_loads", tube=wiring.internal_tube))
    housing = probe.housing
    if housing and housing.window and housing.window.areal_density_mg_cm2:
        said.append(_t("paint", mg=f"{housing.window.areal_density_mg_cm2.middle:g}"))
    elif tube.window is not None or tube.construction in ("mica window", "glass", "thin metal"):
        said.append(_t("paint_unknown"))
    return tuple(said)


def build_sheet(
    instrument: Instrument,
    tube: Tube,
    probe: Probe,
    wiring: Wiring,
    dimensions: Dimensions,
    compatible: Compatibility,
) -> BuildSheet:
    """Return the sheet; the drawings are made from the same ``wiring`` and ``dimensions``."""
    d = dimensions
    mica = (_t("caution_mica"),) if tube.window or tube.construction == "mica window" else ()
    return BuildSheet(
        instrument=instrument.name,
        probe=probe.name,
        parts=parts_of(tube, probe, wiring, d),
        steps=steps_of(tube, probe, wiring),
        checks=checks_of(tube, wiring),
        cautions=tuple(dict.fromkeys((*wiring.notes(), _t("caution_sources"), *mica))),
        notes=notes_of(tube, probe, wiring, compatible),
        dimensions_mm={
            "outer diameter": d.outer_diameter, "length": d.length, "bore": d.bore,
            "cavity": d.cavity, "wall": d.wall, "cap": d.cap, "gland": d.gland,
        },
    )  # fmt: skip


def sheet_page(sheet: BuildSheet, wiring: Wiring, dimensions: Dimensions) -> str:
    """Return the sheet as one self-contained HTML page with both drawings.

    Raises:
        UserError: if schemdraw (the extra ``drawings``) is not installed.
    """
    title = _t("title", probe=sheet.probe, instrument=sheet.instrument)

    def escaped(said: str) -> str:
        return escape(said, quote=False)

    def listed(tag: str, items: tuple[str, ...]) -> str:
        return f"<{tag}>" + "".join(f"<li>{escaped(i)}</li>" for i in items) + f"</{tag}>"

    def table(head: tuple[str, ...], rows: Sequence[tuple[str, ...]]) -> str:
        first = "".join(f"<th>{escaped(h)}</th>" for h in head)
        rest = "".join(
            "<tr>" + "".join(f"<td>{escaped(c)}</td>" for c in row) + "</tr>" for row in rows
        )
        return f"<table><thead><tr>{first}</tr></thead><tbody>{rest}</tbody></table>"

    parts = [(str(p.number), p.what, p.value, p.note) for p in sheet.parts]
    checks = [(c.what, c.how, c.expected) for c in sheet.checks]
    drawing = section_svg(section_of(dimensions, text("section.title", probe=sheet.probe)))
    body = "".join(
        (
            f"<h1>{escaped(title)}</h1>",
            f"<h2>{_t('cautions')}</h2>{listed('ul', sheet.cautions)}",
            f"<h2>{_t('wiring')}</h2><figure>{wiring_svg(wiring)}</figure>",
            f"<h2>{_t('section')}</h2><figure>{drawing}</figure>",
            f"<h2>{_t('parts')}</h2>",
            table((_t("number"), _t("what"), _t("value"), _t("remark")), parts),
            f"<h2>{_t('order')}</h2>{listed('ol', sheet.steps)}",
            f"<h2>{_t('before')}</h2>",
            table((_t("what"), _t("how"), _t("expected")), checks),
            f"<h2>{_t('notes')}</h2>{listed('ul', sheet.notes)}",
        )
    )
    return (
        '<!doctype html><html lang="en"><head><meta charset="utf-8">'
        f"<title>{escaped(title)}</title>"
        '<meta name="viewport" content="width=device-width,initial-scale=1"><style>'
        "body{font-family:serif;max-width:60rem;margin:2rem auto;padding:0 1rem;line-height:1.45;"
        "color:#1d1b17;background:#fbf9f3}figure{margin:1rem 0;overflow-x:auto}"
        "table{border-collapse:collapse}td,th{border-bottom:1px solid #ddd6c8;padding:.3rem .8rem "
        ".3rem 0;text-align:left;vertical-align:top}"
        "@media (prefers-color-scheme:dark){body{color:#e8e2d4;background:#1d1b17}}"
        f"@media print{{body{{margin:0}}}}</style></head><body>{body}</body></html>"
    )
