"""hazard."""
