"""API of pipes."""
