"""Quantities at the boundary, plain floats inside.

What to use when:

- a person typed something: :func:`parse_quantity`, :func:`parse_range`, :func:`parse_sensitivity`;
- a result leaves a function: :class:`Estimate`;
- a result is shown: :func:`format_estimate` and its relatives;
- a result has several causes of uncertainty: :class:`Budget`, :func:`budget_of`,
  :func:`monte_carlo`.
"""

from counterproof.quantities.budget import (
    Budget,
    Component,
    budget_of,
    coverage_factor,
    monte_carlo,
)
from counterproof.quantities.estimate import Estimate
from counterproof.quantities.format import (
    format_asymmetric,
    format_estimate,
    format_interval,
    format_number,
    format_percent,
    format_value,
)
from counterproof.quantities.numerals import parse_number
from counterproof.quantities.sensitivity import (
    GY_PER_R,
    H10_PER_KERMA,
    Conversion,
    Sensitivity,
    parse_sensitivity,
    quantity_of,
)
from counterproof.quantities.units import (
    conversion_factor,
    convert,
    dimension_name,
    parse_quantity,
    parse_range,
    split_quantity,
)

__all__ = [
    "GY_PER_R",
    "H10_PER_KERMA",
    "Budget",
    "Component",
    "Conversion",
    "Estimate",
    "Sensitivity",
    "budget_of",
    "conversion_factor",
    "convert",
    "coverage_factor",
    "dimension_name",
    "format_asymmetric",
    "format_estimate",
    "format_interval",
    "format_number",
    "format_percent",
    "format_value",
    "monte_carlo",
    "parse_number",
    "parse_quantity",
    "parse_range",
    "parse_sensitivity",
    "quantity_of",
    "split_quantity",
]
