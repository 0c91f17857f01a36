"""A source and a position as physics sees them: plain, frozen, in centimetres and becquerels."""

from __future__ import annotations

import datetime as dt
from dataclasses import dataclass
from typing import Literal

from counterproof.errors import UserError
from counterproof.physics.materials import Material
from counterproof.physics.nuclides import Inventory, Part, held, parts_of
from counterproof.physics.sheets import Sheet
from counterproof.texts import text

Form = Literal["point", "disc", "line", "cylinder"]


@dataclass(frozen=True)
class SourceTerm:
    """What emits.

    The source's centre is the origin. The axis of a disc or cylinder points at the detector at
    angle 0; a line lies across it. A disc or cylinder with a ``matrix`` absorbs in itself; a disc's
    activity lies in the plane of its ``length_cm`` (0: on a surface), under the ``cover``.

    Args:
        name: as printed.
        parts: nuclides, the leading one first.
        activity_bq: activity of the leading nuclide at the reference date; ``None`` unknown, then
            all results are per becquerel.
        activity_relative_u: relative standard uncertainty; ``None`` unknown.
        reference_date: ``None`` means the activity holds whenever it is asked for.
        form: shape.
        diameter_cm: of a disc or cylinder.
        length_cm: of a line or cylinder, thickness of a disc.
        matrix: material that holds the activity.
        cover: from the source outwards; flat on the face of a disc (nothing behind it), around
            the other forms.
        radon_retention: share of Rn-222 kept.
    """

    name: str
    parts: tuple[Part, ...]
    activity_bq: float | None = None
    activity_relative_u: float | None = None
    reference_date: dt.date | None = None
    form: Form = "point"
    diameter_cm: float = 0.0
    length_cm: float = 0.0
    matrix: Material | None = None
    cover: tuple[Sheet, ...] = ()
    radon_retention: float = 1.0

    def inventory(self, on: dt.date | None = None) -> Inventory:
        """Activities on a date; on the reference date when ``None``.

        Raises:
            UserError: if the date lies before the reference date.
        """
        elapsed = 0.0
        if on is not None and self.reference_date is not None:
            elapsed = (on - self.reference_date).total_seconds()
        if elapsed < 0.0:
            raise UserError(
                text("physics.date_before", date=on, reference=self.reference_date, name=self.name)
            )
        activity = 1.0 if self.activity_bq is None else self.activity_bq
        return held(self.parts, activity, elapsed, self.radon_retention)


def point_source(
    nuclide: str,
    activity_bq: float | None = 1.0,
    *,
    activity_relative_u: float | None = 0.0,
    cover: tuple[Sheet, ...] = (),
    state: str | None = None,
) -> SourceTerm:
    """Make the simplest source: a point of a nuclide or named material.

    Raises:
        UserError: unknown nuclide.
    """
    parts = parts_of(nuclide, state)
    return SourceTerm(nuclide, parts, activity_bq, activity_relative_u, cover=cover)
