"""Services of results."""
