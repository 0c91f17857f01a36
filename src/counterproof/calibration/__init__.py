"""calibration (being built)."""
