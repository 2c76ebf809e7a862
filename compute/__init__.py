"""Physics of clamp-on transit-time flow measurement, and the tasks that run it in bulk."""
