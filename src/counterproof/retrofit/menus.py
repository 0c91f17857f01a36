"""What a wider menu, or a menu that also set the other range, would buy."""

from __future__ import annotations

from dataclasses import replace

from counterproof.records.outlook import Binding
from counterproof.retrofit.box import Box, MenuItem
from counterproof.retrofit.display import BestSettings, Counted, Floats, best_settings
from counterproof.texts import text

WIDER = 20.0
"""How far beyond its ends a menu is imagined, as a factor."""
WORTH = 0.02
"""Gain in the largest error below which nothing is said."""


def wider_menu(
    box: Box, best: BestSettings, counted: Counted, levels: Floats, name: str
) -> list[Binding]:
    """Name the limits of the menu that cost accuracy with one tube, and what lifting each buys.

    Args:
        box: firmware and menu.
        best: the settings that the menu allows.
        counted: the tube.
        levels: true dose rates that matter.
        name: of the candidate.
    """
    out = []
    for item in box.menu:
        if item.name not in best.bound:
            continue
        wide = replace(item, low=item.step, high=item.high * WIDER)
        menu = tuple(wide if m is item else m for m in box.menu)
        found = best_settings(replace(box, menu=menu), counted, levels)
        out += _bought(item, found, best, name, "retrofit.binds_menu")
    for r in box.fixed:
        factor = box.firmware.factors_cpm_per_usv_h[r]
        free = MenuItem(
            text("retrofit.factor_of_range", number=r + 1), "factor", (r,), 0.01 * factor,
            WIDER * factor, 0.01 * factor, factor,
        )  # fmt: skip
        wide_box = replace(box, menu=(*box.menu, free), fixed=())
        out += _bought(
            free, best_settings(wide_box, counted, levels), best, name, "retrofit.binds_fixed"
        )
    return out


def _bought(
    item: MenuItem, found: BestSettings, best: BestSettings, name: str, key: str
) -> list[Binding]:
    if abs(best.worst) - abs(found.worst) < WORTH:
        return []
    value = next(v for m, v in found.values if m.name == item.name)
    said = text(
        key, item=item.name, value=f"{value:.3g}", before=f"{100 * abs(best.worst):.0f}",
        after=f"{100 * abs(found.worst):.0f}", low=f"{item.low:g}", high=f"{item.high:g}",
    )  # fmt: skip
    return [Binding(wish="menu", relaxed_to=value, admits=(name,), statement=said)]
