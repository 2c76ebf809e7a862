"""What the management commands do: demo, serve, work."""
