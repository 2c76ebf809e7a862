"""Calibration: due list, policies, conformity, capabilities and reminders."""
