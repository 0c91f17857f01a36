"""The shape that every record shares: strict fields, a name and a schema version.

A record is what leaves an analysis: it is stored on the bench, printed by ``--json`` and drawn by
the charts. ``kind`` and ``schema_version`` travel inside it so that a reader knows what it holds;
the version rises when a field changes its meaning or goes away, not when one is added.
"""

from __future__ import annotations

import math
from typing import Annotated, Any, ClassVar, Self

from pydantic import BaseModel, BeforeValidator, ConfigDict, Field

from counterproof.quantities import Estimate


def _finite_or_none(value: Any) -> Any:
    return None if isinstance(value, float) and not math.isfinite(value) else value


Number = Annotated[float | None, BeforeValidator(_finite_or_none)]
"""A number that JSON can hold; ``None`` stands for 'not known' or 'without bound'."""


class Part(BaseModel):
    """A piece of a record: strict and frozen, without a version of its own."""

    model_config = ConfigDict(extra="forbid", frozen=True)


class Record(Part):
    """A record with its name and schema version.

    Subclasses set ``kind: Literal["…"] = "…"`` and, when they change, ``schema_version``.
    """

    registry: ClassVar[dict[str, type[Record]]] = {}

    kind: str
    schema_version: int = Field(default=1, ge=1)

    @classmethod
    def __pydantic_init_subclass__(cls, **kwargs: Any) -> None:
        """Enter the record under its kind, so that schemas and the bench find it."""
        default = cls.model_fields["kind"].default
        if isinstance(default, str):
            Record.registry[default] = cls

    def to_json(self, indent: int | None = 2) -> str:
        """Return the record as JSON text."""
        return self.model_dump_json(indent=indent)


class Measured(Part):
    """An :class:`~counterproof.quantities.Estimate` as JSON: non-finite numbers become null."""

    value: Number
    low: Number = None
    high: Number = None
    u: Number = None
    coverage: float = Field(default=0.95, gt=0, lt=1)
    unit: str = ""
    counts: float | None = None
    method: str = ""

    @classmethod
    def of(cls, estimate: Estimate) -> Self:
        """Return the record of an estimate."""
        return cls(
            value=estimate.value,
            low=estimate.low,
            high=estimate.high,
            u=estimate.u,
            coverage=estimate.coverage,
            unit=estimate.unit,
            counts=estimate.counts,
            method=estimate.method,
        )

    def estimate(self) -> Estimate:
        """Return the estimate; null ends become unbounded, a null value becomes NaN."""
        return Estimate(
            math.nan if self.value is None else self.value,
            math.inf if self.u is None else self.u,
            -math.inf if self.low is None else self.low,
            math.inf if self.high is None else self.high,
            self.coverage,
            self.unit,
            self.counts,
            self.method,
        )
