"""Wall thickness measurement: from readings around a pipe to the mean wall and its uncertainty."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from compute.base.checks import FindingChecks
from compute.base.errors import NotEnough, OutOfRange
from compute.base.messages import Finding, field_name, finding, quantity
from compute.statistics.degrees_of_freedom import pooled_freedom

# Readings of a worn pipe differ by more than this fraction of their mean; common practice.
UNEVEN_SHARE = 0.10
# Plausible longitudinal sound speeds of a wall [m/s]; default values.
MIN_SOUND_SPEED, MAX_SOUND_SPEED = 100.0, 20_000.0


@dataclass(frozen=True, slots=True)
class Wall:
    """Result of a wall measurement; lengths [m]. `minimum` and `maximum` are single readings, corrected like the mean.

    degrees_of_freedom [1] : effective, of the standard uncertainty
    """

    mean: float
    standard_deviation: float
    standard_uncertainty: float
    minimum: float
    maximum: float
    correction_factor: float
    degrees_of_freedom: float = math.inf

    @property
    def uneven(self) -> bool:
        """Whether the wall varies around the pipe like that of a worn pipe."""
        return self.maximum - self.minimum > UNEVEN_SHARE * self.mean


WALL_CHECKS: FindingChecks[Wall] = FindingChecks("wall measurement")


def wall_from_readings(
    readings: Sequence[float],
    *,
    gauge_uncertainty: float,
    gauge_velocity_setting: float | None,
    wall_sound_speed: float | None,
    wall_sound_speed_uncertainty: float,
) -> Wall:
    """Return the mean wall of readings around a pipe, with its standard uncertainty.

    A gauge measures a time and shows set speed x time / 2. Set to a speed other than the wall's, it shows t x set/wall, so its
    readings are multiplied by wall/set. The uncertainty combines the standard deviation of the mean with the contributions that
    all readings share: those of the gauge and of the sound speed of the wall.

    Parameters
    ----------
    readings : sequence of float [m]  two or more, as shown
    gauge_uncertainty : float [m]  standard, of the gauge itself
    gauge_velocity_setting : float or None [m/s]  velocity setting of the gauge; None: set to the pipe material
    wall_sound_speed : float or None [m/s]  longitudinal, of the wall; needed with a velocity setting
    wall_sound_speed_uncertainty : float [-]  standard, relative

    Returns
    -------
    wall : Wall

    Raises
    ------
    NotEnough   fewer than two readings, or a velocity setting without the sound speed of the wall
    OutOfRange  a reading, a speed or an uncertainty out of range

    Source
    ------
    pulse-echo wall measurement : ISO 16809 (from memory): thickness = sound speed x time / 2, so it goes with the speed set.
    uncertainty : JCGM 100:2008 5.1.2; degrees of freedom : readings less 1 for the mean, G.4.1 with those of the gauge, which are infinite.
    """
    values = np.asarray(readings, dtype=float)
    if len(values) < 2:
        raise NotEnough(field="readings", variant="wall-readings")
    if not np.all((values > 0) & np.isfinite(values)):
        raise OutOfRange(
            field="readings",
            quantity=field_name("pipe.wall_thickness"),
            value=quantity(values.min(), "length"),
            above=quantity(0.0, "length"),
        )
    for name, uncertainty in (
        ("gauge_uncertainty", gauge_uncertainty),
        ("wall_sound_speed_uncertainty", wall_sound_speed_uncertainty),
    ):
        if uncertainty < 0:
            raise OutOfRange(field="gauge", quantity=field_name(name), at_least=0)
    factor = _factor(gauge_velocity_setting, wall_sound_speed)
    values = values * factor
    mean, deviation = float(values.mean()), float(values.std(ddof=1))
    shared = math.hypot(gauge_uncertainty * factor, wall_sound_speed_uncertainty * mean)
    of_mean = deviation / math.sqrt(len(values))
    combined = math.hypot(of_mean, shared)
    return Wall(
        mean=mean,
        standard_deviation=deviation,
        standard_uncertainty=combined,
        minimum=float(values.min()),
        maximum=float(values.max()),
        correction_factor=factor,
        degrees_of_freedom=pooled_freedom(combined, (of_mean, len(values) - 1)),
    )


@WALL_CHECKS.register
def _uneven(wall: Wall) -> list[Finding]:
    if not wall.uneven:
        return []
    return [
        finding(
            "wall-thickness-uneven",
            "warning",
            "readings",
            minimum=quantity(wall.minimum, "length"),
            maximum=quantity(wall.maximum, "length"),
            range=quantity(wall.maximum - wall.minimum, "length"),
            limit=quantity(UNEVEN_SHARE * wall.mean, "length"),
        )
    ]


@WALL_CHECKS.register
def _velocity_corrected(wall: Wall) -> list[Finding]:
    if wall.correction_factor == 1:
        return []
    return [
        finding("gauge-velocity-corrected", "info", "gauge_velocity_setting", factor=wall.correction_factor)
    ]


def _factor(gauge_velocity_setting: float | None, wall_sound_speed: float | None) -> float:
    if gauge_velocity_setting is None:
        return 1.0
    if wall_sound_speed is None:
        raise NotEnough(field="gauge_velocity_setting", variant="wall-sound-speed")
    for name, speed in (
        ("gauge_velocity_setting", gauge_velocity_setting),
        ("pipe.material", wall_sound_speed),
    ):
        if not MIN_SOUND_SPEED < speed < MAX_SOUND_SPEED:
            raise OutOfRange(
                field=name,
                quantity=field_name("longitudinal_sound_speed"),
                value=quantity(speed, "speed"),
                above=quantity(MIN_SOUND_SPEED, "speed"),
                below=quantity(MAX_SOUND_SPEED, "speed"),
            )
    return wall_sound_speed / gauge_velocity_setting
