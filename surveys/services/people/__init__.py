"""Services of people."""
