"""Quantities at the boundary, plain floats inside."""

from counterproof.quantities.estimate import Estimate

__all__ = ["Estimate"]
