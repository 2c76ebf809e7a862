"""API of calculations without records."""
