"""Field types of kit files: numbers or ranges with a unit, quantities as text, names.

``thickness_mm = 0.1``, ``thickness_mm = "0.1..0.3 mm"`` and ``thickness_mm = "100 µm"`` all become
a :class:`Span` in millimetres; ``activity = "9.2 kBq"`` stays text that was checked to be one.
"""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import dataclass
from typing import Annotated, Any

from pydantic import AfterValidator, BeforeValidator
from pydantic_core import core_schema

from counterproof.errors import UserError
from counterproof.quantities import parse_number, parse_quantity, parse_range
from counterproof.quantities.units import split_quantity
from counterproof.texts import text


@dataclass(frozen=True, slots=True)
class Span:
    """A number that may be known only between two bounds.

    Args:
        low: lower bound.
        high: upper bound, equal to ``low`` where the number is known.
        written: the text it came from; empty for a plain number.
    """

    low: float
    high: float
    written: str = ""

    @property
    def middle(self) -> float:
        """Middle of the range."""
        return 0.5 * (self.low + self.high)

    @property
    def is_range(self) -> bool:
        """Whether it is a range rather than one number."""
        return self.low != self.high


def said(function: Callable[..., Any], *arguments: Any) -> Any:
    """Call ``function`` so that its sentence reaches pydantic, which adds file, key and line."""
    try:
        return function(*arguments)
    except UserError as error:
        raise ValueError(error.message) from None


@dataclass(frozen=True, slots=True)
class In:
    """Metadata of a :class:`Span` field: its unit and its least value (excluded or not)."""

    unit: str
    least: float = 0.0
    or_least: bool = False

    def read(self, given: Any) -> Span:
        """Make a span from a number or a text."""
        if isinstance(given, Span):
            span = given
        elif isinstance(given, str):
            low, high = said(parse_range, given, self.unit)
            span = Span(low, high, given)
        elif isinstance(given, (int, float)) and not isinstance(given, bool):
            span = Span(float(given), float(given))
        else:
            raise ValueError(text("kit.not_span", given=given, unit=self.unit))
        if not (math.isfinite(span.low) and math.isfinite(span.high)):
            raise ValueError(text("kit.not_finite", given=given))
        if span.low < self.least or (span.low == self.least and not self.or_least):
            key = "kit.must_reach" if self.or_least else "kit.must_exceed"
            shown = span.written or f"{span.low:g}"
            raise ValueError(text(key, given=shown, bound=f"{self.least:g}"))
        return span

    def __get_pydantic_core_schema__(self, source: Any, handler: Any) -> core_schema.CoreSchema:
        """Read with :meth:`read`, write as it was written."""
        return core_schema.no_info_plain_validator_function(
            self.read,
            serialization=core_schema.plain_serializer_function_ser_schema(
                lambda span: span.written or span.low
            ),
        )

    def __get_pydantic_json_schema__(self, schema: Any, handler: Any) -> dict[str, Any]:
        """Describe it as a number or a text with a unit."""
        return {"anyOf": [{"type": "number"}, {"type": "string"}], "unit": self.unit}


Millimetres = Annotated[Span, In("mm")]
MillimetresOrZero = Annotated[Span, In("mm", or_least=True)]
MassPerArea = Annotated[Span, In("mg/cm²")]
Density = Annotated[Span, In("g/cm³")]
Kilopascals = Annotated[Span, In("kPa")]
Volts = Annotated[Span, In("V")]
Microseconds = Annotated[Span, In("µs")]
Picofarads = Annotated[Span, In("pF", or_least=True)]
PicofaradsPerMetre = Annotated[Span, In("pF/m", or_least=True)]
Megohms = Annotated[Span, In("MΩ", or_least=True)]
Seconds = Annotated[Span, In("s")]
Hours = Annotated[Span, In("h")]
CountsPerMinute = Annotated[Span, In("cpm", or_least=True)]
Degrees = Annotated[Span, In("°", least=-360.0, or_least=True)]


def _is(unit: str) -> AfterValidator:
    """Check that a text is a positive quantity like ``unit``, and keep it as written."""

    def check(given: str) -> str:
        if not said(parse_quantity, given, unit) > 0:
            raise ValueError(text("kit.must_exceed", given=given, bound="0"))
        return given

    return AfterValidator(check)


ActivityText = Annotated[str, _is("Bq")]
MassText = Annotated[str, _is("g")]
LengthText = Annotated[str, _is("mm")]
VoltageText = Annotated[str, _is("V")]
ResistanceText = Annotated[str, _is("MΩ")]
CapacityText = Annotated[str, _is("mAh")]


def share_of(given: float | str) -> float:
    """Return a share as a number: ``0.1``, ``"10 %"`` and ``"0.1"`` are the same.

    Raises:
        UserError: if it is no number or percentage.
    """
    if isinstance(given, str):
        return parse_number(given) if given[-1:].isdigit() else parse_quantity(given, "")
    return float(given)


def _check_share(given: Any) -> Any:
    if isinstance(given, bool) or not isinstance(given, (int, float, str)):
        raise ValueError(text("kit.not_share", given=given))
    value = said(share_of, given)
    if not 0.0 <= value <= 1.0:
        raise ValueError(text("kit.not_share", given=given))
    return given


Share = Annotated[float | str, BeforeValidator(_check_share)]
"""A share between 0 and 1 or a percentage, kept as written; read it with :func:`share_of`."""


def uncertainty_of(given: str, value: float, unit: str) -> float:
    """Return a standard uncertainty in ``unit``, from ``"10 %"`` of ``value`` or ``"0.9 kBq"``.

    Raises:
        UserError: if it is neither.
    """
    _, written_unit = split_quantity(given)
    if written_unit == "%":
        return parse_quantity(given, "") * value
    return parse_quantity(given, unit)


def nuclide_name(given: str) -> str:
    """Return the usual spelling of a nuclide: ``cs137``, ``137Cs`` and ``Cs 137`` are ``Cs-137``.

    Raises:
        UserError: if there is no such nuclide; the nearest names are offered.
    """
    from counterproof.physics import decaydata  # late: reads a table

    return decaydata.nuclide_name(given)


def nuclide_or_material(given: str) -> str:
    """Return a nuclide's usual spelling, or the name of a source material (``"uranium ore"``).

    Raises:
        UserError: if it is neither.
    """
    from counterproof.physics.nuclides import recipe_of, source_kinds  # late: reads a table

    known = " ".join(given.lower().split())
    recipe = recipe_of(given)
    return known if known in source_kinds() else recipe.lead


NuclideName = Annotated[str, AfterValidator(lambda given: said(nuclide_name, given))]
NuclideOrMaterial = Annotated[str, AfterValidator(lambda given: said(nuclide_or_material, given))]
