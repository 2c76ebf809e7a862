"""API of dispatch."""
