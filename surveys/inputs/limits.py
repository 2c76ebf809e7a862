"""Limits of entered values: far beyond any real pipe, and far from where numbers overflow.

The physics checks whether a pipe or a medium is possible. These limits only keep nonsense, such as a viscosity of 0 or a diameter of
1e300 m, out of the calculation. They are set by this project.
"""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

import numpy as np

from compute.base.errors import OutOfRange
from compute.base.messages import quantity

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
"""Lowest and highest value by kind of quantity, SI."""

# Lowest values [SI] of quantities that the physics divides by.
MIN_SOUND_SPEED = 50.0
MIN_LENGTH = 1e-5
MIN_DENSITY = 0.01
MIN_VISCOSITY = 1e-7
MIN_FREQUENCY = 1000.0
MIN_ANGLE = 0.01


def check_limits(si: Any, kind: str, lowest: float | None = None) -> None:
    """Check that a value, or every value of an array, is within the limits of its kind.

    Raises OutOfRange with the value and the limits.
    """
    low, high = LIMITS[kind]
    low = low if lowest is None else lowest
    # Of one number numpy would take ten times as long as all the rest.
    least, most = (si, si) if isinstance(si, float) else (float(np.min(si)), float(np.max(si)))
    if least < low or most > high:
        raise OutOfRange(
            value=quantity(least if least < low else most, kind),
            at_least=quantity(low, kind),
            at_most=quantity(high, kind),
        )
