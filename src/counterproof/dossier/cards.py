"""Correction cards: for each probe what to set, what to multiply by, and for what it holds."""

from __future__ import annotations

from collections.abc import Sequence

from counterproof.dossier.blocks import Card
from counterproof.dossier.shown import interval
from counterproof.quantities.format import format_number
from counterproof.records.calibration import Band, Calibration
from counterproof.texts import text


def card(c: Calibration) -> Card:
    """Return the card of one calibration."""
    who = text(
        "dossier.card_title", instrument=c.instrument, probe=c.probe or text("calibration.built_in")
    )
    lines = [
        (a.setting, text("dossier.card_set", best=f"{a.best:g}", unit=a.unit)) for a in c.advice
    ]
    if c.advice:
        worst = max(a.worst_percent for a in c.advice)
        u = max((b.expanded_percent or 0.0 for b in c.bands), default=0.0)
        left = text("dossier.card_beside", worst=format_number(worst, 2), u=format_number(u, 2))
        lines.append((text("dossier.card_left"), left))
    if c.standing == "relative only":
        lines.append((text("dossier.card_factor"), text("dossier.card_relative")))
    else:
        lines += [
            _factor(band)
            for band in c.bands
            if band.factor is not None and not any(a.covers(band) for a in c.advice)
        ]
        lines += [
            (text("dossier.card_sensitivity"), interval(band.sensitivity))
            for band in c.bands[:1]
            if band.sensitivity is not None and band.factor is None
        ]
    at_background = c.levels[-1].remaining_percent if c.levels else None
    if at_background is not None and c.levels[-1].distance_mm is None:
        shown = f"{at_background:+.0f} %".replace("-", "−")
        lines.append((text("dossier.card_background"), shown))
    v = c.validity
    if v.low_usv_h is not None and v.high_usv_h is not None:
        span = f"{format_number(v.low_usv_h, 2)} … {format_number(v.high_usv_h, 2)} µSv/h"
        lines.append((text("dossier.card_valid"), f"{', '.join(v.nuclides)}, {span}"))
    lines.append((text("dossier.card_standing"), c.standing))
    lines.append((text("dossier.card_dated"), str(v.dated or "–")))
    return Card(who, tuple(lines), text("dossier.card_foot"))


def _factor(band: Band) -> tuple[str, str]:
    assert band.factor is not None
    value = format_number(band.factor.value or 0.0)
    u = format_number(band.expanded_percent or 0.0, 2)
    where = text("dossier.card_factor")
    if band.name != "everywhere" and band.low is not None and band.high is not None:
        span = f"{format_number(band.low, 2)}…{format_number(band.high, 2)}"
        where = text("dossier.card_factor_at", span=span)
    return where, f"{value} (±{u} %)"


def cards_of(calibrations: Sequence[Calibration]) -> list[Card]:
    """Return a card for each probe, from its latest calibration."""
    latest: dict[tuple[str | None, str | None], Calibration] = {}
    for c in sorted(calibrations, key=lambda c: str(c.validity.dated or "")):
        latest[c.probe, c.switch_state] = c
    return [card(c) for c in latest.values()]
