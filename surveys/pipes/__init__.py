"""Reads of sites, pipes, measuring points, materials and media."""
