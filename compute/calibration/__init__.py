"""Calibration: points and error curves, decision rules, intervals, control charts, reliability."""
