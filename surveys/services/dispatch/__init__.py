"""Services of dispatch."""
