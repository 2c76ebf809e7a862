"""Units, errors, messages and helpers that all of the physics uses."""
