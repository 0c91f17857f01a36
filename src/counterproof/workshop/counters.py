"""What the trials have to know of an instrument, read from its description in the kit."""

from __future__ import annotations

from counterproof.kit.instrument import Instrument
from counterproof.kit.source import Source
from counterproof.quantities import convert, parse_quantity
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
    )


def nuclides_of(sources: list[Source]) -> tuple[str, ...]:
    """Return the nuclides of the sources present, each once, in their order."""
    return tuple(dict.fromkeys(n for s in sources for n in _portions(s)))


def _portions(source: Source) -> list[str]:
    return [p.nuclide for p in source.portions]
