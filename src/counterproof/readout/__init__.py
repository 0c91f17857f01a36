"""readout (being built)."""
