"""API of people."""
