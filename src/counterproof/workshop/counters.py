"""What the trials have to know of an instrument, read from its description in the kit."""

from __future__ import annotations

from collections.abc import Sequence

from counterproof.errors import UserError
from counterproof.kit.instrument import Instrument
from counterproof.kit.source import Source
from counterproof.kit.to_field import sheets_of
from counterproof.quantities import convert, parse_quantity, parse_range
from counterproof.trials.shape import Counter


def counter_of(instrument: Instrument) -> Counter:
    """Return the trials' view of an instrument.

    Factors are ordered as they apply: below a switch first. A calibration without a nuclide is
    entered as ``"any"``.
    """
    order = {"below the switch": 0, "everywhere": 1, "above the switch": 2}
    factors = sorted(instrument.factors, key=lambda s: order[s.applies])
    stated = tuple(
        convert(s.value, s.unit or "cpm/(µSv/h)", "cpm/(µSv/h)")
        for s in factors
        if s.value is not None
    )
    windows = [d.window_s.middle for d in instrument.display if d.window_s is not None]
    own = [
        parse_quantity(c.own_background, "cps")
        for c in instrument.calibration
        if c.own_background is not None
    ]
    return Counter(
        name=instrument.name,
        stated_cpm_per_usv_h=stated,
        window_s=windows[0] if windows else None,
        sensitivity_per_s_per_usv_h={
            c.nuclide or "any": c.per_s_per_usv_h() for c in instrument.calibration
        },
        own_background_per_s=own[0] if own else 0.0,
        claims=claims_of(instrument),
        capacity_mah=(
            None
            if instrument.battery.capacity is None
            else parse_quantity(instrument.battery.capacity, "mAh")
        ),
    )


# words in which sellers claim what a trial can test, and the unit that it is compared in
_CLAIMED = {
    "endurance_h": (("endurance", "battery", "runtime", "operating time"), "h"),
    "response_s": (("response time", "reaction time"), "s"),
    "range_top_usv_h": (("top of range", "range top", "maximum dose rate"), "µSv/h"),
}


def claims_of(instrument: Instrument) -> dict[str, float]:
    """Return what is claimed in numbers that trials test: hours, seconds, top of the range.

    The battery's ``claimed_h`` and the display's ``top`` come first; else claims whose ``what``
    names the thing and whose ``value`` is a quantity of the right kind.
    """
    found: dict[str, float] = {}
    if instrument.battery.claimed_h is not None:
        found["endurance_h"] = instrument.battery.claimed_h.low
    for display in instrument.display:
        if display.field == "momentary" and display.quantity == "dose_rate" and display.top:
            try:
                found["range_top_usv_h"] = convert(display.top, display.unit, "µSv/h")
            except UserError:  # another dose quantity: no number to compare with
                continue
    for claim in instrument.claim:
        for key, (words, unit) in _CLAIMED.items():
            if key not in found and any(w in claim.what.lower() for w in words):
                try:
                    found[key] = parse_range(claim.value, unit)[0]
                except UserError:  # a claim in words, or of something else about it
                    continue
    return found


def cover_of(sources: Sequence[Source]) -> float | None:
    """Return what covers a source in mg/cm², ``None`` for several sources or none described.

    A source whose cover is left out of its description is not known to be bare.
    """
    if len(sources) != 1 or not sources[0].cover:
        return None
    return 1e3 * sum(s.areal_g_cm2 for s in sheets_of(sources[0].cover))


def nuclides_of(sources: Sequence[Source]) -> tuple[str, ...]:
    """Return the nuclides of the sources present, each once, in their order."""
    return tuple(dict.fromkeys(n for s in sources for n in _portions(s)))


def _portions(source: Source) -> list[str]:
    return [p.nuclide for p in source.portions]
