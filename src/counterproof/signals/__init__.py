"""signals (being built)."""
