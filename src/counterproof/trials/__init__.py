"""trials (being built)."""
