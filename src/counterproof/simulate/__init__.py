"""simulate (being built)."""
