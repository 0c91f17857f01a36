"""A tube of which not everything is known: the best guess and designs that might be it."""

from __future__ import annotations

from dataclasses import dataclass

from counterproof.physics.tube.geometry import Tube


@dataclass(frozen=True)
class TubeModel:
    """What is known of a tube.

    Args:
        nominal: with every unknown at the middle of its range.
        variants: designs drawn from the ranges; empty where everything is known.
        unknown: what was drawn, in words with its range and where the range comes from.
    """

    nominal: Tube
    variants: tuple[Tube, ...] = ()
    unknown: tuple[str, ...] = ()

    @classmethod
    def of(cls, tube: TubeModel | Tube) -> TubeModel:
        """Return a tube as a model; one of which everything is known has no variants."""
        return tube if isinstance(tube, TubeModel) else cls(tube)
