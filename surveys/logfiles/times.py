"""Times of readings as text."""

from __future__ import annotations

from datetime import timedelta

from surveys.logfiles.zones import EPOCH


def iso_time(microseconds: int) -> str:
    """A time in microseconds since 1970 UTC as ISO 8601."""
    return (EPOCH + timedelta(microseconds=microseconds)).isoformat().replace("+00:00", "Z")
