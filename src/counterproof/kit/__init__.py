"""kit (being built)."""
