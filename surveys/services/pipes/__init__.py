"""Services of pipes."""
