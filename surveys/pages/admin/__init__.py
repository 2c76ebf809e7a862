"""The stock admin."""
