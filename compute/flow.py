"""From times to flow, from flow to times, and from what a meter logged back to its times."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from compute.acoustics import Real, Setup, trace
from compute.errors import NotEnough, OutOfRange
from compute.profile import mean_from_path_velocity, profile_factor, reynolds_number


@dataclass(frozen=True, slots=True)
class Flow:
    """What readings come to; every figure a float or an array like the readings.

    Velocities and sound speed [m/s], volume flow [m3/s], Reynolds number and profile factor [-], time [s].
    """

    path_velocity: Real
    mean_velocity: Real
    volume_flow: Real
    reynolds: Real
    profile_factor: Real
    measured_sound_speed: Real
    time_in_medium: Real


def flow_from_times(setup: Setup, transit_time: Real, time_difference: Real) -> Flow:
    """Flow and sound speed from measured times.

    The time in the medium is the transit time less wall, linings and wedges. Path velocity = time difference /
    (2 x time in the medium x axial slowness). Sound speed c from c^2 = (1 - sqrt(1 - 4 p^2 b^2))/(2 p^2) with
    b = N B / time in the medium. The formulas leave out terms of (velocity/c)^2, 1e-5 at 5 m/s in water.

    Parameters
    ----------
    setup : Setup
    transit_time : float or (n,) [s]  mean of upstream and downstream
    time_difference : float or (n,) [s]  upstream less downstream

    Returns
    -------
    flow : Flow

    Raises
    ------
    OutOfRange  a transit time too short for the solid parts, or for any sound speed in the medium

    Source
    ------
    transit time : axial slowness kept in every layer; the sound speed solves N B/(c cos(angle)) = time for c.
    """
    path = trace(setup)
    time_in_medium = transit_time - path.time_in_solids
    _check_times(time_in_medium, path.axial_slowness * setup.traverses * setup.pipe.bore, path.time_in_solids)
    path_velocity = time_difference / (2 * path.axial_slowness * time_in_medium)
    speed = sound_speed_from_time(time_in_medium, path.axial_slowness, setup.traverses * setup.pipe.bore)
    per_velocity = _reynolds_per_velocity(setup)
    mean, factor = mean_from_path_velocity(
        path_velocity, per_velocity, setup.pipe.roughness / setup.pipe.bore
    )
    return Flow(
        path_velocity=path_velocity,
        mean_velocity=mean,
        volume_flow=mean * bore_area(setup),
        reynolds=np.abs(mean) * per_velocity,
        profile_factor=factor,
        measured_sound_speed=speed,
        time_in_medium=time_in_medium,
    )


def sound_speed_from_time(time_in_medium: Real, slowness: float, crossing: float) -> Real:
    """Sound speed of the medium from the time the beam spends in it.

    Parameters
    ----------
    time_in_medium : float or (n,) [s]
    slowness : float [s/m]  axial slowness
    crossing : float [m]  traverses x bore

    Returns
    -------
    sound_speed : as time_in_medium [m/s]

    Source
    ------
    geometry : c cos(angle) = b with sin(angle) = p c; the root below 45 deg in the medium. Written without
        the difference of nearly equal numbers: c^2 = 2 b^2/(1 + sqrt(1 - 4 p^2 b^2)).
    """
    b = crossing / time_in_medium
    return b * np.sqrt(2 / (1 + np.sqrt(1 - (2 * slowness * b) ** 2)))


def times_from_mean_velocity(setup: Setup, mean_velocity: Real) -> tuple[Real, Real]:
    """The times a meter would measure: the forward model.

    Parameters
    ----------
    setup : Setup
    mean_velocity : float or (n,) [m/s]  over the bore, positive in the pipe's stated direction

    Returns
    -------
    transit_time : float or (n,) [s]  mean of upstream and downstream; one figure if the medium is one
    time_difference : float or (n,) [s]  upstream less downstream

    Raises
    ------
    OutOfRange  see `compute.acoustics.trace`

    Source
    ------
    transit time : the inverse of `flow_from_times`.
    """
    path = trace(setup)
    factor = profile_factor(
        np.abs(mean_velocity) * _reynolds_per_velocity(setup), setup.pipe.roughness / setup.pipe.bore
    )
    difference = 2 * path.time_in_medium * path.axial_slowness * mean_velocity / factor
    return path.transit_time, difference


def times_from_logged(
    programmed: Setup,
    *,
    flow_velocity: Real | None = None,
    volume_flow: Real | None = None,
    sound_speed: Real | None = None,
) -> tuple[Real, Real]:
    """The times behind a logged velocity or flow: what the meter was told is undone.

    The meter's own bore turns flow into mean velocity, its own profile factor that into the velocity along the
    beam, its own path that into times. With a logged sound speed the transit time is the measured one; without,
    it is what the meter was told.

    Parameters
    ----------
    programmed : Setup  what the meter was told
    flow_velocity : float, (n,) or None [m/s]  mean velocity as logged
    volume_flow : float, (n,) or None [m3/s]  flow as logged, used when no velocity is
    sound_speed : float, (n,) or None [m/s]  of the medium, as logged

    Returns
    -------
    transit_time : float or (n,) [s]
    time_difference : float or (n,) [s]

    Raises
    ------
    NotEnough   neither velocity nor flow
    OutOfRange  a logged sound speed that the beam cannot have

    Source
    ------
    transit time : `times_from_mean_velocity` with the meter's entries and the logged sound speed.
    """
    if flow_velocity is None:
        if volume_flow is None:
            raise NotEnough("Give flow_velocity or volume_flow.", field="readings")
        flow_velocity = volume_flow / bore_area(programmed)
    path = trace(programmed)
    factor = profile_factor(
        np.abs(flow_velocity) * _reynolds_per_velocity(programmed),
        programmed.pipe.roughness / programmed.pipe.bore,
    )
    time_in_medium = path.time_in_medium
    if sound_speed is not None:
        crossing = programmed.traverses * programmed.pipe.bore
        sine = path.axial_slowness * sound_speed
        if not (np.all(np.asarray(sound_speed) > 0) and np.all(np.asarray(sine) < 1)):
            raise OutOfRange(
                "A logged sound speed is not above 0, or higher than any the beam can have.",
                field="readings.sound_speed",
            )
        time_in_medium = crossing / (sound_speed * np.sqrt(1 - sine * sine))
    difference = 2 * time_in_medium * path.axial_slowness * flow_velocity / factor
    return time_in_medium + path.time_in_solids, difference


def bore_area(setup: Setup) -> float:
    """Cross-section of the bore.

    Parameters
    ----------
    setup : Setup

    Returns
    -------
    area : float [m2]

    Source
    ------
    geometry : pi/4 B^2.
    """
    return float(np.pi / 4 * setup.pipe.bore**2)


def _reynolds_per_velocity(setup: Setup) -> Real:
    medium = setup.medium
    return reynolds_number(1.0, setup.pipe.bore, medium.density, medium.dynamic_viscosity)


def _check_times(time_in_medium: Real, slowness_crossing: float, time_in_solids: float) -> None:
    # Below 2 p N B the equation for the sound speed has no solution: the beam would be flatter than 45 deg.
    shortest = 2 * slowness_crossing
    if not np.all(np.asarray(time_in_medium) > shortest):
        raise OutOfRange(
            f"A transit time of {(np.min(time_in_medium) + time_in_solids) * 1e6:.4g} us is too short for this set-up: "
            f"wall and wedges take {time_in_solids * 1e6:.4g} us, the medium at least {shortest * 1e6:.4g} us. "
            "Check the pipe, the traverses and the wedge delay.",
            field="readings.transit_time",
        )
