"""What a box makes of pulses, and what its menu can change about it.

The firmware comes from an inferred report where there is one, else from the kit's description;
what is missing gets the default of :class:`counterproof.readout.ReadoutModel` and a sentence.
"""

from __future__ import annotations

from dataclasses import dataclass

from counterproof.errors import UserError
from counterproof.kit.instrument import Instrument, Setting
from counterproof.quantities import convert
from counterproof.readout import Boxcar, Exponential, ReadoutModel
from counterproof.records.readout import ReadoutReport
from counterproof.texts import text

FACTOR = "cpm/(µSv/h)"
UNITS = {"factor": FACTOR, "threshold": "cpm", "dead time": "s"}
"""What each kind of menu item is counted in here."""
_RANGE = {"below the switch": "below", "above the switch": "above", "everywhere": "all"}


@dataclass(frozen=True, slots=True)
class MenuItem:
    """A number that the menu sets.

    Args:
        name: as the person finds it.
        what: ``"factor"``, ``"threshold"`` or ``"dead time"``.
        ranges: which of the firmware's ranges it works in, lowest first (factors).
        low: least value, in ``unit``.
        high: greatest.
        step: its step.
        present: what it stands at.
    """

    name: str
    what: str
    ranges: tuple[int, ...]
    low: float
    high: float
    step: float
    present: float

    @property
    def unit(self) -> str:
        """In which its values are given: cpm/(µSv/h), cpm or s."""
        return UNITS[self.what]


@dataclass(frozen=True, slots=True)
class Box:
    """A counter without its tube.

    Args:
        name: the instrument.
        firmware: from pulses to numbers, as it stands.
        menu: what can be set.
        fixed: ranges whose factor nothing sets.
        top_usv_h: largest number the display shows, ``None`` if unknown.
        assumed: what had to be assumed, in sentences.
    """

    name: str
    firmware: ReadoutModel
    menu: tuple[MenuItem, ...] = ()
    fixed: tuple[int, ...] = ()
    top_usv_h: float | None = None
    assumed: tuple[str, ...] = ()


def _in(setting: Setting, value: float | None, unit: str) -> float | None:
    return None if value is None else convert(value, setting.unit or unit, unit)


def _stated(instrument: Instrument) -> dict[str, float]:
    """Factors as stated, by where they apply."""
    found = {}
    for setting in instrument.factors:
        value = _in(setting, setting.value, FACTOR)
        if value is not None:
            found[_RANGE[setting.applies]] = value
    return found


def _switch(instrument: Instrument, lowest: float) -> float | None:
    """The threshold between two factors in cpm, as stated in cpm or as a displayed dose rate."""
    for setting in instrument.setting:
        if setting.kind == "threshold" and setting.value is not None:
            try:
                return convert(setting.value, setting.unit or "cpm", "cpm")
            except UserError:
                return convert(setting.value, setting.unit, "µSv/h") * lowest
    return None


def _of_report(report: ReadoutReport) -> ReadoutModel:
    factors = tuple(f.value for f in report.factors_cpm_per_usv_h if f.value)
    if not factors:
        raise UserError(text("retrofit.no_factor", instrument=report.instrument))
    tau = report.time_constant_s.value if report.time_constant_s else None
    kind = Exponential if "exponential" in report.estimator.lower() else Boxcar
    switch = report.switch_usv_h.value if report.switch_usv_h else None
    if len(factors) == 2 and switch is None:
        raise UserError(text("retrofit.no_switch", instrument=report.instrument))

    def value(found: object) -> float:
        got = getattr(found, "value", None)
        return float(got) if got else 0.0

    return ReadoutModel(
        estimator=kind(tau or 30.0),
        factors_cpm_per_usv_h=factors,
        switches_cpm=(switch * factors[0],) if len(factors) == 2 and switch else (),
        hysteresis=value(report.hysteresis),
        dead_time_s=value(report.dead_time_s),
        background_cpm=value(report.background_cpm),
        quantum_usv_h=value(report.quantum_usv_h),
    )


def box_of(instrument: Instrument, report: ReadoutReport | None = None) -> Box:
    """Return the box as its file and, if there is one, its inferred firmware describe it.

    Raises:
        UserError: if neither says which factor turns counts into a dose rate.
    """
    assumed: list[str] = []
    shown = [d for d in instrument.display if d.quantity == "dose_rate"]
    top = next((convert(d.top, d.unit, "µSv/h") for d in shown if d.top is not None), None)
    if report is not None:
        firmware = _of_report(report)
    else:
        stated = _stated(instrument)
        if not stated:
            raise UserError(text("retrofit.no_factor", instrument=instrument.name))
        below, above = stated.get("below"), stated.get("above")
        rest = stated.get("all")
        lowest = below or rest or above
        assert lowest is not None
        upper = above or rest or lowest
        switch = _switch(instrument, lowest) if below or above else None
        if (below or above) and switch is None:
            raise UserError(text("retrofit.no_switch", instrument=instrument.name))
        window = next((d.window_s.middle for d in shown if d.window_s is not None), None)
        if window is None:
            assumed.append(text("retrofit.assumed_window"))
        quantum = next((convert(d.quantum, d.unit, "µSv/h") for d in shown if d.quantum), 0.0)
        dead = next((s for s in instrument.setting if s.kind == "dead_time"), None)
        dead_s = _in(dead, dead.value, "s") if dead and dead.unit else None
        if dead_s is None:
            assumed.append(text("retrofit.assumed_no_correction"))
        firmware = ReadoutModel(
            estimator=Boxcar(window or 30.0),
            factors_cpm_per_usv_h=(lowest,) if switch is None else (lowest, upper),
            switches_cpm=() if switch is None else (switch,),
            dead_time_s=dead_s or 0.0,
            quantum_usv_h=quantum,
        )
    menu = tuple(_menu(instrument, firmware))
    settable = {r for item in menu if item.what == "factor" for r in item.ranges}
    fixed = tuple(r for r in range(len(firmware.factors_cpm_per_usv_h)) if r not in settable)
    return Box(instrument.name, firmware, menu, fixed, top, tuple(assumed))


def _menu(instrument: Instrument, firmware: ReadoutModel) -> list[MenuItem]:
    count = len(firmware.factors_cpm_per_usv_h)
    items = []
    for setting in instrument.setting:
        what = setting.kind.replace("_", " ")
        unit = UNITS.get(what)
        if unit is None:
            continue
        try:
            low, high, step = (
                _in(setting, v, unit) for v in (setting.low, setting.high, setting.step)
            )
        except UserError:
            # a threshold stated as a displayed dose rate: in counts by the factor below it
            scale = firmware.factors_cpm_per_usv_h[0] * convert(1.0, setting.unit, "µSv/h")
            low, high, step = (
                None if v is None else v * scale for v in (setting.low, setting.high, setting.step)
            )
        if low is None or high is None or step is None or not 0 < low <= high:
            continue
        ranges = {"all": tuple(range(count)), "below": (0,), "above": (count - 1,)}[
            _RANGE[setting.applies]
        ]
        if setting.kind == "factor":
            present = firmware.factors_cpm_per_usv_h[ranges[-1]]
        elif setting.kind == "threshold":
            if not firmware.switches_cpm:
                continue
            present = firmware.switches_cpm[0]
        else:
            present = firmware.dead_time_s
        items.append(MenuItem(setting.name or what, what, ranges, low, high, step, present))
    return items
