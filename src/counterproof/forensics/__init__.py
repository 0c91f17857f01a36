"""forensics (being built)."""
