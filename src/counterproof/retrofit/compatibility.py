"""Does a tube, with or without a probe and its cable, go with a box?

Each check ends in one of four verdicts with one sentence: ``fits``, ``care`` (works, at a price
that the sentence names), ``does not fit``, ``unknown`` (it says what to find out). Electrical
figures come in both limits of :mod:`counterproof.circuits.pulse`, never as one number.

Where a tube's sheet is silent: 5 pF and 1 pF of stray capacitance (from memory); a drop of one to
two times the overvoltage (a discharge leaves the anode about as far below the starting voltage as
it was above it; Stever, Phys. Rev. 61 (1942) 38, from memory), 150 V where even that is unknown
(common practice, no source).
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

from counterproof.circuits.cables import Loading, cable_kind, loading
from counterproof.circuits.matching import (
    DoublePulseRisk,
    VoltageData,
    VoltageMatch,
    double_pulse_risk,
    match_voltage,
    resistor_range,
)
from counterproof.circuits.pulse import recharge_time_s
from counterproof.circuits.supply import Supply, fixed_charge_load, fixed_drop_load
from counterproof.errors import UserError
from counterproof.kit.fields import Span
from counterproof.kit.instrument import Instrument
from counterproof.kit.probe import Cable, Probe
from counterproof.kit.tube import Datasheet, Tube
from counterproof.quantities import convert, parse_quantity
from counterproof.texts import text

Verdict = Literal["fits", "care", "does not fit", "unknown"]
TUBE_PF, STRAY_PF, DROP_V = 5.0, 1.0, 150.0
SWITCH_PF = 5.0
"""A changeover switch with some centimetres of wire; common practice, no source."""


@dataclass(frozen=True, slots=True)
class Check:
    """One check: a key such as ``"voltage"``, its verdict and its sentence."""

    key: str
    verdict: Verdict
    statement: str


@dataclass(frozen=True, slots=True)
class Envelope:
    """Room for a tube; ``None`` where there is no limit."""

    length_mm: float | None = None
    diameter_mm: float | None = None


@dataclass(frozen=True, slots=True)
class Figures:
    """The circuit in numbers; pairs are (fixed charge, fixed drop) where not said otherwise.

    Args:
        anode_f: capacitance on the anode.
        resistor_ohm: anode resistor.
        recharge_s: 90 % recharge.
        drop_v: drop of the tube in its maker's circuit, (least, most).
        charge_c: charge per pulse; the ends take least and most drop.
        current_a: mean current at ``rate_per_s``.
        droop_v: droop of the supply there.
        rate_per_s: the rate asked for.
        risk: of double pulses, at the larger charge.
    """

    anode_f: float
    resistor_ohm: float
    recharge_s: float
    drop_v: tuple[float, float]
    charge_c: tuple[float, float]
    current_a: tuple[float, float]
    droop_v: tuple[float, float]
    rate_per_s: float
    risk: DoublePulseRisk


@dataclass(frozen=True, slots=True)
class Compatibility:
    """All checks, and the figures if resistor and voltage are known."""

    checks: tuple[Check, ...]
    figures: Figures | None

    @property
    def verdict(self) -> Verdict:
        """The worst verdict; ``unknown`` counts as worse than ``care``."""
        order: tuple[Verdict, ...] = ("does not fit", "unknown", "care", "fits")
        return min((c.verdict for c in self.checks), key=order.index)


def stated(written: str | None, unit: str) -> float | None:
    """Return a quantity of a kit file in ``unit``, ``None`` where the file is silent.

    Raises:
        UserError: if it cannot be read.
    """
    return None if written is None else parse_quantity(written, unit)


def _middle(span: Span | None) -> float | None:
    return None if span is None else span.middle


def cable_capacitance_f(cable: Cable) -> float | None:
    """Capacitance of a cable, from its own figure or the table; ``None`` if neither knows it."""
    metres = parse_quantity(cable.length, "m")
    if cable.capacitance_pf_per_m is not None:
        return cable.capacitance_pf_per_m.middle * 1e-12 * metres
    try:
        return cable_kind(cable.kind).middle_f_per_m * metres
    except UserError:
        return None


def voltage_data(sheet: Datasheet) -> VoltageData:
    """Return what a data sheet says about voltage, cautiously: of a range the end that is worse."""
    return VoltageData(
        sheet.start_v.high if sheet.start_v else None,
        sheet.plateau_low_v.high if sheet.plateau_low_v else None,
        sheet.plateau_high_v.low if sheet.plateau_high_v else None,
        _middle(sheet.recommended_v),
        sheet.maximum_v.low if sheet.maximum_v else None,
    )


_VOLTAGE: dict[str, Verdict] = {
    "good": "fits",
    "on plateau": "fits",
    "low end": "care",
    "high end": "care",
    "no plateau": "does not fit",
    "no counts": "does not fit",
    "danger": "does not fit",
    "unknown": "unknown",
}


def _voltage(supply_v: float | None, tolerance: float, data: VoltageData) -> Check:
    if supply_v is None:
        return Check("voltage", "unknown", text("compatibility.voltage.not_measured"))
    match: VoltageMatch = match_voltage(
        supply_v * (1 - tolerance), supply_v * (1 + tolerance), data
    )
    said = text(
        f"compatibility.voltage.{match.fit.replace(' ', '_')}",
        low=f"{supply_v * (1 - tolerance):.0f}",
        high=f"{supply_v * (1 + tolerance):.0f}",
    )
    return Check("voltage", _VOLTAGE[match.fit], said)


def _resistor(
    ohm: float | None,
    supply_v: float | None,
    loaded: Loading,
    data: VoltageData,
    sheet_ohm: float | None,
    recover_s: float,
) -> Check:
    if ohm is None or supply_v is None:
        return Check("resistor", "unknown", text("compatibility.resistor.unknown"))
    found = resistor_range(supply_v, loaded.anode_f, data, sheet_ohm, recover_s)
    names = {
        "ohm": f"{ohm / 1e6:.3g}",
        "low": f"{found.low_ohm / 1e6:.3g}",
        "high": f"{found.high_ohm / 1e6:.3g}",
        "ms": f"{1e3 * float(recharge_time_s(ohm, loaded.anode_f)):.2g}",
        "wanted": f"{1e3 * recover_s:.2g}",
    }
    if ohm < found.low_ohm * 0.999:
        sure = found.low_from == "data sheet"
        key = "small" if sure else "small_maybe"
        verdict: Verdict = "does not fit" if sure else "care"
        return Check("resistor", verdict, text(f"compatibility.resistor.{key}", **names))
    if ohm > found.high_ohm:
        key = "slow" if found.possible else "none"
        return Check("resistor", "care", text(f"compatibility.resistor.{key}", **names))
    return Check("resistor", "fits", text("compatibility.resistor.fits", **names))


def _cable(probe: Probe, supply_v: float | None, cable_f: float | None) -> list[Check]:
    if probe.cable is None:
        return []
    checks = []
    if cable_f is None:
        checks.append(Check("cable", "unknown", text("compatibility.cable.unknown")))
    elif probe.resistor_at == "box":
        pf = f"{cable_f * 1e12:.0f}"
        checks.append(Check("cable", "care", text("compatibility.cable.box_end", pf=pf)))
    else:
        checks.append(Check("cable", "fits", text("compatibility.cable.tube_end")))
    rated = stated(probe.cable.rated, "V")
    if rated is None or supply_v is None:
        checks.append(Check("rating", "unknown", text("compatibility.rating.unknown")))
    else:
        fits = rated >= supply_v
        key = "fits" if fits else "exceeded"
        said = text(f"compatibility.rating.{key}", rated=f"{rated:g}", volts=f"{supply_v:g}")
        checks.append(Check("rating", "fits" if fits else "does not fit", said))
    return checks


def _dead_time(instrument: Instrument, tube: Tube, recharge: float | None) -> Check:
    own = _middle(tube.datasheet.dead_time_us)
    setting = next((s for s in instrument.setting if s.kind == "dead_time"), None)
    if own is None:
        return Check("dead_time", "unknown", text("compatibility.dead_time.no_data"))
    real = max(own, 0.0 if recharge is None else recharge * 1e6)
    if setting is None or not setting.unit:
        at = f"{100 * real * 1e-6 * 1000 / (1 + real * 1e-6 * 1000):.0f}"
        said = text("compatibility.dead_time.no_setting", us=f"{real:.0f}", percent=at)
        return Check("dead_time", "care", said)
    bounds = [
        None if v is None else convert(v, setting.unit, "µs") for v in (setting.low, setting.high)
    ]
    low, high = bounds
    if (low is not None and real < low) or (high is not None and real > high):
        said = text("compatibility.dead_time.outside", us=f"{real:.0f}")
        return Check("dead_time", "care", said)
    return Check("dead_time", "fits", text("compatibility.dead_time.fits", us=f"{real:.0f}"))


def _envelope(tube: Tube, room: Envelope) -> list[Check]:
    checks = []
    for key, span, most in (
        ("length", tube.length_mm, room.length_mm),
        ("diameter", tube.outer_diameter_mm, room.diameter_mm),
    ):
        if most is None:
            continue
        what = text(f"compatibility.envelope.{key}")
        if span is None:
            verdict, said = "unknown", text("compatibility.envelope.unknown", what=what)
        elif span.low > most:
            shown = {"what": what, "has": f"{span.low:g}", "room": f"{most:g}"}
            verdict, said = "does not fit", text("compatibility.envelope.too_large", **shown)
        elif span.high > most:
            verdict, said = "unknown", text("compatibility.envelope.unknown", what=what)
        else:
            verdict, said = "fits", text("compatibility.envelope.fits", what=what)
        checks.append(Check(key, verdict, said))  # type: ignore[arg-type]
    return checks


def _figures(
    instrument: Instrument,
    supply_v: float,
    ohm: float,
    loaded: Loading,
    reference_f: float,
    tube: Tube,
    rate: float,
) -> Figures:
    data, sheet = voltage_data(tube.datasheet), tube.datasheet
    over = None if data.start_v is None else supply_v - data.start_v
    drops = (over, 2 * over) if over is not None and over > 0 else (DROP_V, DROP_V)
    drops = (min(drops[0], 0.9 * supply_v), min(drops[1], 0.9 * supply_v))
    charge = (reference_f * drops[0], loaded.anode_f * drops[1])
    source = stated(instrument.supply.source_resistance, "ohm") or 0.0
    supply = Supply(supply_v, 0.0 if instrument.supply.regulated else source)
    dead = (_middle(sheet.dead_time_us) or 0.0) * 1e-6
    least = fixed_charge_load(rate, supply, ohm, charge[0], supply_v - drops[0], dead)
    most = fixed_drop_load(rate, supply, ohm, loaded.anode_f, supply_v - drops[1], dead)
    sheet_ohm = _middle(sheet.anode_resistor_mohm)
    restoring = maker = None
    if over is not None and over > 0 and sheet_ohm:
        point = data.recommended_v
        if point is not None and data.start_v is not None and point > data.start_v:
            restoring, maker = over / ohm, (point - data.start_v) / (sheet_ohm * 1e6)
    risk = double_pulse_risk(loaded.anode_f * drops[1], reference_f * drops[1], restoring, maker)
    return Figures(
        loaded.anode_f,
        ohm,
        float(recharge_time_s(ohm, loaded.anode_f)),
        drops,
        charge,
        (float(least.current_a), float(most.current_a)),
        (float(least.droop_v), float(most.droop_v)),
        rate,
        risk,
    )


def compatibility(
    instrument: Instrument,
    tube: Tube,
    probe: Probe | None = None,
    room: Envelope | None = None,
    voltage_tolerance: float = 0.05,
    rate_per_s: float = 1000.0,
    recover_s: float = 1e-3,
) -> Compatibility:
    """Check a tube against a box.

    Args:
        instrument: the box.
        tube: the candidate.
        probe: the probe it sits in; ``None`` for a tube inside the box.
        room: the space it must fit into.
        voltage_tolerance: relative half-width of what the supply may have: measurement, battery.
        rate_per_s: rate at which current and droop are stated.
        recover_s: time in which the anode should be back to 90 %.

    Raises:
        UserError: if a quantity in the files cannot be read.
    """
    sheet, data = tube.datasheet, voltage_data(tube.datasheet)
    supply_v = stated(instrument.supply.voltage, "V")
    sheet_mohm = _middle(sheet.anode_resistor_mohm)
    sheet_ohm = sheet_mohm * 1e6 if sheet_mohm else None
    fitted = probe.anode_resistor if probe else instrument.supply.anode_resistor
    ohm = stated(fitted, "ohm")
    tube_f = (_middle(sheet.capacitance_pf) or TUBE_PF) * 1e-12
    stray = _middle(probe.stray_pf) if probe else None
    stray_f = (STRAY_PF if stray is None else stray) * 1e-12
    cable_f = cable_capacitance_f(probe.cable) if probe and probe.cable else 0.0
    at = probe.resistor_at if probe else "tube"
    loaded = loading(tube_f, stray_f, cable_f or 0.0, at)
    checks = [
        _voltage(supply_v, voltage_tolerance, data),
        _resistor(ohm, supply_v, loaded, data, sheet_ohm, recover_s),
    ]
    if probe is not None:
        checks += _cable(probe, supply_v, cable_f)
    figures = None
    # a cable of unknown capacitance on the anode would make every figure below wrong
    if ohm is not None and supply_v is not None and not (cable_f is None and at == "box"):
        reference = tube_f + STRAY_PF * 1e-12
        figures = _figures(instrument, supply_v, ohm, loaded, reference, tube, rate_per_s)
        risky: Verdict = "fits" if figures.risk.risk == "usual" else "care"
        said = text(
            f"compatibility.double.{figures.risk.risk}", ratio=f"{figures.risk.charge_ratio:.2g}"
        )
        checks.append(Check("double_pulses", risky, said))
        if instrument.supply.regulated is None and instrument.supply.source_resistance is None:
            checks.append(Check("droop", "unknown", text("compatibility.droop.unknown")))
        else:
            low, high = figures.droop_v
            sound: Verdict = "fits" if high < 0.03 * supply_v else "care"
            names = {"low": f"{low:.2g}", "high": f"{high:.2g}", "rate": f"{rate_per_s:g}"}
            checks.append(Check("droop", sound, text("compatibility.droop.stated", **names)))
    checks.append(_dead_time(instrument, tube, figures.recharge_s if figures else None))
    return Compatibility((*checks, *_envelope(tube, room or Envelope())), figures)


def behind_switch(instrument: Instrument, tube: Tube, extra_pf: float = SWITCH_PF) -> Check:
    """Say what a changeover switch and its wires do to the tube built in.

    They hang on its anode unless its resistor sits right at the tube; as built, a box has it on its
    board, so the whole of ``extra_pf`` is counted.

    Raises:
        UserError: if the resistor in the file cannot be read.
    """
    ohm = stated(instrument.supply.anode_resistor, "ohm")
    own = (_middle(tube.datasheet.capacitance_pf) or TUBE_PF) + STRAY_PF
    share = (own + extra_pf) / own
    verdict: Verdict = "fits" if share <= 1.5 else "care"
    names = {"tube": tube.name, "pf": f"{extra_pf:g}", "ratio": f"{share:.2g}"}
    if ohm is None:
        return Check("switch", verdict, text("compatibility.switch.ratio", **names))
    before, after = (1e6 * float(recharge_time_s(ohm, c * 1e-12)) for c in (own, own + extra_pf))
    names |= {"before": f"{before:.0f}", "after": f"{after:.0f}"}
    return Check("switch", verdict, text("compatibility.switch.stated", **names))
