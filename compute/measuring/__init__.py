"""Measuring: beam, velocity profile, spacing, flow, conditions, wall, location and checks of a set-up."""
