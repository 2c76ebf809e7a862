"""Services of fleet."""
