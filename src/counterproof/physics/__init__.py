"""physics (being built)."""
