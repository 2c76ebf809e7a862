"""Wall-thickness wall measurement: readings round a pipe to a wall and its uncertainty."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from compute.base.errors import NotEnough, OutOfRange
from compute.base.figures import bare, said
from compute.base.findings import Finding

# A worn or ovalised pipe shows in readings that differ round it by more than this part of their mean; common practice.
UNEVEN_SHARE = 0.10


@dataclass(frozen=True, slots=True)
class Wall:
    """What a wall measurement comes to; lengths [m]. `minimum` and `maximum` are single places, corrected like the mean."""

    mean: float
    standard_deviation: float
    standard_uncertainty: float
    minimum: float
    maximum: float
    correction_factor: float

    @property
    def uneven(self) -> bool:
        """Whether the wall differs round the pipe as that of a worn one does."""
        return self.maximum - self.minimum > UNEVEN_SHARE * self.mean


def wall_from_readings(
    readings: Sequence[float],
    *,
    gauge_uncertainty: float,
    gauge_velocity_setting: float | None,
    wall_sound_speed: float | None,
    wall_sound_speed_uncertainty: float,
) -> Wall:
    """Mean wall of readings round a pipe, with its standard uncertainty.

    A gauge measures a time and shows set speed x time / 2. Set to another speed than the wall's it shows t x set/wall; its
    readings are corrected by wall/set. The uncertainty joins the scatter round the pipe over the root of the number of
    readings with what all readings share and no number makes smaller: the gauge's own and the wall's sound speed.

    Parameters
    ----------
    readings : sequence of float [m]  two or more, as shown
    gauge_uncertainty : float [m]  standard, of the gauge itself
    gauge_velocity_setting : float or None [m/s]  what the gauge was set to; None: set to the wall's material
    wall_sound_speed : float or None [m/s]  longitudinal, of the wall; needed when the gauge was set to something
    wall_sound_speed_uncertainty : float [-]  standard, relative

    Returns
    -------
    wall : Wall

    Raises
    ------
    NotEnough   fewer than two readings, or a set speed without the wall's
    OutOfRange  a reading, a speed or an uncertainty that cannot be

    Source
    ------
    pulse-echo wall measurement : ISO 16809 (from memory): thickness = sound speed x time / 2, so it goes with the speed set.
    uncertainty : JCGM 100:2008 5.1.2.
    """
    values = np.asarray(readings, dtype=float)
    if len(values) < 2:
        raise NotEnough(
            "At least two readings round the pipe are needed to know their spread.", field="readings"
        )
    if not np.all((values > 0) & np.isfinite(values)):
        raise OutOfRange(
            f"A reading of {said(values.min(), 'mm', 'g')} cannot be; a wall is above 0.", field="readings"
        )
    if gauge_uncertainty < 0 or wall_sound_speed_uncertainty < 0:
        raise OutOfRange("A standard uncertainty is not below 0.", field="gauge")
    factor = _factor(gauge_velocity_setting, wall_sound_speed)
    values = values * factor
    mean, deviation = float(values.mean()), float(values.std(ddof=1))
    shared = math.hypot(gauge_uncertainty * factor, wall_sound_speed_uncertainty * mean)
    return Wall(
        mean=mean,
        standard_deviation=deviation,
        standard_uncertainty=math.hypot(deviation / math.sqrt(len(values)), shared),
        minimum=float(values.min()),
        maximum=float(values.max()),
        correction_factor=factor,
    )


def wall_findings(wall: Wall) -> list[Finding]:
    """What a wall measurement gives reason to say.

    Parameters
    ----------
    wall : Wall

    Returns
    -------
    findings : list of Finding

    Source
    ------
    limit : UNEVEN_SHARE, common practice.
    """
    findings = []
    spread = wall.maximum - wall.minimum
    if wall.uneven:
        detail = (
            f"The wall runs from {bare(wall.minimum, 'mm', '.2f')} to {said(wall.maximum, 'mm', '.2f')} round the pipe: worn or made "
            "so. Gauge at more places, on the beam's own diameter too, and tell whoever is responsible for the pipe how thin it is."
        )
        limit = UNEVEN_SHARE * wall.mean
        findings.append(
            Finding("wall-thickness-uneven", "warning", detail, "readings", spread, limit, "length")
        )
    if wall.correction_factor != 1:
        detail = (
            f"The gauge was set to another sound speed than that of the pipe's material; its readings are multiplied by "
            f"{wall.correction_factor:.4f}."
        )
        findings.append(
            Finding(
                "gauge-velocity-corrected",
                "info",
                detail,
                "gauge_velocity_setting",
                wall.correction_factor,
                1.0,
            )
        )
    return findings


def _factor(gauge_velocity_setting: float | None, wall_sound_speed: float | None) -> float:
    if gauge_velocity_setting is None:
        return 1.0
    if wall_sound_speed is None:
        raise NotEnough(
            "The gauge was set to a sound speed, but the wall's is not known; state the pipe's material.",
            field="gauge_velocity_setting",
        )
    for name, speed in (
        ("gauge_velocity_setting", gauge_velocity_setting),
        ("pipe.material", wall_sound_speed),
    ):
        if not 100 < speed < 20_000:
            raise OutOfRange(f"A sound speed of {said(speed, 'm/s', 'g')} is not that of a wall.", field=name)
    return wall_sound_speed / gauge_velocity_setting
