"""What to mind when handling a source: the usual cautions, chosen by what it holds."""

from __future__ import annotations

from collections.abc import Mapping

from counterproof.physics.sources import SourceTerm
from counterproof.texts import text

_BY_NUCLIDE = (
    ("Ra-226", "radium"),
    ("Am-241", "americium"),
    ("U-238", "uranium"),
    ("Th-232", "thorium"),
    ("Y-90", "beta"),
)


def cautions(source: SourceTerm, activities_bq: Mapping[str, float]) -> list[str]:
    """Sentences to show beside a field, the particular ones first."""
    held = [key for name, key in _BY_NUCLIDE if activities_bq.get(name, 0.0) > 0.0]
    if "uranium" in held and "radium" in held:
        held.remove("radium")  # the ore's sentence covers its radium
    particular = [text(f"field.caution.{key}") for key in held]
    if not source.cover:
        particular.append(text("field.caution.bare"))
    general = ("never_open", "hygiene", "distance", "law", "no_dosimetry")
    return particular + [text(f"field.caution.{key}") for key in general]
