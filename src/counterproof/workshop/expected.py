"""What physics expects at a run's position, for the trials to set beside what was measured."""

from __future__ import annotations

import math
from collections.abc import Sequence
from functools import cache

from counterproof.errors import UserError
from counterproof.kit.source import Source
from counterproof.kit.to_field import source_term
from counterproof.physics.field import ladder
from counterproof.physics.sheets import Sheet, sheet
from counterproof.quantities import Estimate, coverage_factor
from counterproof.records import Run


def expected_usv_h(run: Run, sources: Sequence[Source]) -> Estimate | None:
    """Return the H*(10) rate of a run's sources at its distance in µSv/h, photons alone.

    ``None`` without sources, distance or stated activities, and where the position makes no
    sense to physics: a trial then goes by its reference counter alone.
    """
    position = run.position
    if not sources or position.distance_mm is None:
        return None
    if any(s.activity is None for s in sources):
        return None
    values, variance = 0.0, 0.0
    for source in sources:
        try:
            (each,) = ladder(
                source_term(source),
                [position.distance_mm / 10.0],
                absorbers=_sheets(run),
                date=run.started_utc.date(),
                distance_u_cm=(position.distance_u_mm or 0.5) / 10.0,
            )
        except UserError:
            return None
        if not math.isfinite(each.u):
            return None
        values, variance = values + each.value, variance + each.u**2
    u = math.sqrt(variance)
    half = coverage_factor(0.95) * u
    low = max(0.0, values - half)
    return Estimate(values, u, low, values + half, 0.95, "µSv/h", None, "physics of the source")


@cache
def expected_background_usv_h() -> Estimate:
    """Return the H*(10) rate of natural background at an ordinary place in µSv/h.

    A world mean; a real place differs by a factor of two either way, which is the interval.
    """
    from counterproof.physics.background import background

    natural = background()
    value = natural.h10_usv_h
    u = natural.relative_u * value
    return Estimate(
        value, u, value / 2.0, 2.0 * value, 0.95, "µSv/h", None, "model of natural background"
    )


def _sheets(run: Run) -> tuple[Sheet, ...]:
    return tuple(
        sheet(a.material, a.thickness_mm, a.areal_density_mg_cm2) for a in run.position.absorbers
    )
