"""Code of the management commands demo, serve and work."""
