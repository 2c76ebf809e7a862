"""API of surveys."""
