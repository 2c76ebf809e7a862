"""Logs: series of readings, segments, steady segments and checks."""
