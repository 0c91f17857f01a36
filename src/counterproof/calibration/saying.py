"""The sentences about a calibration: what its standing allows, and what to be wary of."""

from __future__ import annotations

import math
from collections.abc import Sequence

from counterproof.calibration.fit import Fit
from counterproof.quantities.format import format_number
from counterproof.records.calibration import Calibration, Link
from counterproof.texts import text


def says(found: Calibration) -> tuple[str, ...]:
    """Return the result in sentences that its standing allows."""
    said = [found.title + "."]
    for band in found.bands:
        if band.factor is not None and band.expanded_percent is not None:
            key = "relative" if found.standing == "relative only" else "factor"
            said.append(
                text(
                    f"calibration.says_{key}",
                    where=band.where,
                    value=format_number(band.factor.value or math.nan),
                    percent=format_number(band.expanded_percent, 2),
                )
            )
    said += [
        text(
            "calibration.says_best",
            setting=a.setting,
            best=f"{a.best:g}",
            unit=a.unit,
            worst=format_number(a.worst_percent, 2),
            where=a.worst_at,
        )
        for a in found.advice
    ]
    return tuple(said)


def remarks_on(found: Fit, links: Sequence[Link], misfit: bool, p: float) -> list[str]:
    """Return what a reader has to be wary of."""
    said = []
    if not links:
        said.append(text("calibration.nothing_absolute"))
    if misfit:
        said.append(text("calibration.misfit", p=f"{p:.1g}"))
    said += [
        text("calibration.why_not", name=link.name, reason=link.why_not)
        for link in links
        if not link.traceable and link.why_not
    ]
    if len(found.problem.levels) < 3:
        said.append(text("calibration.few_levels", n=len(found.problem.levels)))
    return said
