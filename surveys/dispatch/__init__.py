"""Dispatch: availability, suitability and the planning problem."""
