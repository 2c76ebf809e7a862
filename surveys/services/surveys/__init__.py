"""Services of surveys."""
