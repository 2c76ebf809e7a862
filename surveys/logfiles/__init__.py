"""Readings of a log: how a logger's file is read, and how its columns are stored."""
