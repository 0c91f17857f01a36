"""records (being built)."""
