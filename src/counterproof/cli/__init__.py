"""cli (being built)."""
