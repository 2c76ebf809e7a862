"""How far an entered figure may go: far beyond what occurs on a pipe, and nowhere near where numbers overflow.

What a pipe, a medium or a library can really be is judged by the physics; this only keeps nonsense such as a
viscosity of 0 or a diameter of 1e300 m from being computed with. The limits are our own.
"""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

import numpy as np

from compute.base.errors import OutOfRange
from compute.base.figures import worded

LIMITS: Mapping[str, tuple[float, float]] = {
    "length": (-1e4, 1e4),
    "roughness": (-1.0, 1.0),
    "speed": (-2e4, 2e4),
    "volume_flow": (-1e4, 1e4),
    "temperature": (0.0, 5000.0),
    "temperature_difference": (-5000.0, 5000.0),
    "transit_time": (-10.0, 10.0),
    "time_difference": (-1.0, 1.0),
    "duration": (-1e9, 1e9),
    "pressure": (-1e10, 1e10),
    "density": (-3e4, 3e4),
    "dynamic_viscosity": (-1e4, 1e4),
    "frequency": (-1e9, 1e9),
    "angle": (-7.0, 7.0),
    "time_per_velocity": (-1.0, 1.0),
    "salinity": (-1000.0, 1000.0),
    "thermal_expansion": (-1.0, 1.0),
    "ratio_db": (-1000.0, 1000.0),
    "speed_per_temperature": (-1e4, 1e4),
}
"""Lowest and highest figure by kind of quantity, SI."""

# Lowest figures [SI] of what the physics divides by.
MIN_SOUND_SPEED = 50.0
MIN_LENGTH = 1e-5
MIN_DENSITY = 0.01
MIN_VISCOSITY = 1e-7
MIN_FREQUENCY = 1000.0
MIN_ANGLE = 0.01


def check_limits(si: Any, kind: str, lowest: float | None = None) -> None:
    """Refuse a figure, or an array with one, outside the limits of its kind.

    Raises OutOfRange naming the figure and the limits.
    """
    low, high = LIMITS[kind]
    low = low if lowest is None else lowest
    # Of one number numpy would take ten times as long as all the rest.
    least, most = (si, si) if isinstance(si, float) else (float(np.min(si)), float(np.max(si)))
    if least < low or most > high:
        wrong, first, last = (worded(one, kind, ".6g") for one in (least if least < low else most, low, high))
        raise OutOfRange(f"{wrong} cannot be; enter {first} to {last}.")
