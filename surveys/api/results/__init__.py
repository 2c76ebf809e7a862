"""API of results."""
