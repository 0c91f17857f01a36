"""counting (being built)."""
