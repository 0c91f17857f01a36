"""bench (being built)."""
