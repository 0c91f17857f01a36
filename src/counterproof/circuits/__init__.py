"""circuits (being built)."""
