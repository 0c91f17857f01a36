"""charts (being built)."""
