"""The demonstration: an invented scenario, the main job done and told on it, and the service to try."""
