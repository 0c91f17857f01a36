"""retrofit (being built)."""
