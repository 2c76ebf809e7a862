"""API of fleet."""
