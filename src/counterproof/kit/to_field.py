"""From a source as written to the source that physics computes with."""

from __future__ import annotations

import math
from collections.abc import Iterable

from counterproof.errors import UserError
from counterproof.kit.layers import Layer
from counterproof.kit.source import Source
from counterproof.physics.materials import Material, material
from counterproof.physics.nuclides import Part, parts_of
from counterproof.physics.sheets import Sheet, sheet
from counterproof.physics.sources import SourceTerm
from counterproof.texts import text

_STATES = {None: None, "none": "pure", "short-lived": "short", "full": "full"}


def sheets_of(layers: Iterable[Layer]) -> tuple[Sheet, ...]:
    """Layers as physics' sheets; ranges by their middle.

    Raises:
        UserError: unknown material or a layer without a thickness.
    """
    out = []
    for layer in layers:
        thickness, areal, density = (
            layer.thickness_mm,
            layer.areal_density_mg_cm2,
            layer.density_g_cm3,
        )
        out.append(
            sheet(
                layer.material,
                None if thickness is None else thickness.middle,
                None if areal is None else areal.middle,
                None if density is None else density.middle,
            )
        )
    return tuple(out)


def _matrix(source: Source) -> tuple[Material | None, float | None]:
    """Material that holds the activity, and its thickness in cm where given."""
    if source.matrix is None:
        return None, None
    density = source.matrix.density_g_cm3
    thickness, areal = source.matrix.thickness_mm, source.matrix.areal_density_mg_cm2
    if areal is not None and density is None:
        made = sheet(source.matrix.material, None, areal.middle)
        return made.material, made.thickness_cm
    medium = material(source.matrix.material, None if density is None else density.middle)
    if areal is not None:
        return medium, areal.middle * 1e-3 / medium.density_g_cm3
    return medium, None if thickness is None else thickness.middle * 0.1


def source_term(source: Source) -> SourceTerm:
    """Convert a kit source.

    Raises:
        UserError: unknown nuclide or material, or a matrix thicker than the source is long.
    """
    composition = source.composition
    state = _STATES[composition.equilibrium if composition else None]
    parts: list[Part] = []
    for portion in source.portions:
        parts += [
            Part(part.nuclide, part.share * portion.fraction, part.state)
            for part in parts_of(portion.nuclide, state)
        ]
    medium, thickness = _matrix(source)
    length = 0.0 if source.length_mm is None else source.length_mm.middle * 0.1
    if source.form == "disc":
        length = thickness or 0.0
    elif thickness is not None and thickness > length > 0.0:
        raise UserError(text("physics.matrix_thick", name=source.name))
    known = source.activity is not None
    relative = source.activity_u_bq / source.activity_bq if known else math.inf
    return SourceTerm(
        name=source.name,
        parts=tuple(parts),
        activity_bq=source.activity_bq if known else None,
        activity_relative_u=relative if math.isfinite(relative) else None,
        reference_date=source.reference_date,
        form=source.form,
        diameter_cm=0.0 if source.diameter_mm is None else source.diameter_mm.middle * 0.1,
        length_cm=length,
        matrix=medium,
        cover=sheets_of(source.cover),
        radon_retention=composition.radon_share if composition else 1.0,
    )
