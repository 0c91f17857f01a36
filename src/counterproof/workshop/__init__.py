"""workshop (being built)."""
