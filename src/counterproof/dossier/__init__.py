"""dossier (being built)."""
