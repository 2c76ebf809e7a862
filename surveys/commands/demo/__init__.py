"""Demo: one survey from start to finish on invented data."""
