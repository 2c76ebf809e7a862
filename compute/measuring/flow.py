"""Flow from transit times, transit times from flow, and transit times from logged values."""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np

from compute.base.errors import NotEnough, NumberInvalid, OutOfRange
from compute.base.messages import quantity
from compute.measuring.beam import FloatArray, RayPath, Real, Setup, axial_slowness, trace
from compute.measuring.profile import (
    mean_from_path_velocity,
    means_from_path_velocities,
    profile_factor,
    reynolds_number,
)


@dataclass(frozen=True, slots=True)
class Flow:
    """Flow of readings; every value is a float or an array like the readings.

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
    """Return flow and sound speed from measured times.

    The time in the medium is the transit time less wall, linings and wedges. Path velocity = time difference /
    (2 x time in the medium x axial slowness). Sound speed c from c^2 = (1 - sqrt(1 - 4 p^2 b^2))/(2 p^2) with
    b = N B / time in the medium (below 45 deg in the medium; see `sound_speed_from_time`).
    With a mounted spacing: the wedge fixes the axial slowness p, so a transducer that is further along the pipe by x receives
    the plane wave later by p x. The transit time less p x mounted axial length is the intercept time, that of the
    medium is N B cos(angle)/c = q, the time in the medium q + (p N B)^2/q and 1/c^2 = (q/(N B))^2 + p^2.
    Terms of (velocity/c)^2 are left out. Against exact rays through a uniformly moving medium, from pipes of 30 mm to 1 m:
    between fixed ends the velocity is within 5 (velocity/c)^2 relative and the sound speed within 1, so 6e-5
    and 1e-5 at 5 m/s in water; for a plane wave up to 30 deg in the medium, both within 0.1 (velocity/c)^2.

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
    OutOfRange     a transit time too short for the solid parts, or for any sound speed in the medium
    NumberInvalid  a time that is not finite

    Source
    ------
    transit time : axial slowness kept in every layer; the sound speed solves N B/(c cos(angle)) = time for c.
    mounted spacing : intercept time of a plane wave of one slowness, from memory of seismology (tau-p); dT/dx = p.
    """
    _finite(transit_time, "readings.transit_time")
    _finite(time_difference, "readings.time_difference")
    path = trace(setup)
    crossing = setup.traverses * setup.pipe.bore
    if setup.mounted_spacing is None:
        time_in_medium = transit_time - path.time_in_solids
        _check_times(time_in_medium, path.axial_slowness * crossing, path.time_in_solids)
        speed = sound_speed_from_time(time_in_medium, path.axial_slowness, crossing, path.angle_in_medium)
    else:
        outside = time_outside_intercept(setup, path)
        intercept = transit_time - outside
        _check_intercept(intercept, shortest_intercept(setup, path), outside)
        time_in_medium = intercept + (path.axial_slowness * crossing) ** 2 / intercept
        speed = 1 / np.hypot(intercept / crossing, path.axial_slowness)
    path_velocity = time_difference / (2 * path.axial_slowness * time_in_medium)
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


def volume_flow_from_times(setup: Setup, transit_time: FloatArray, time_difference: FloatArray) -> FloatArray:
    """Return the volume flow only, for logs: `flow_from_times` without the values that only a mean requires.

    Parameters
    ----------
    setup : Setup
    transit_time : (n,) [s]  mean of upstream and downstream; one reading or more
    time_difference : (n,) [s]  upstream less downstream

    Returns
    -------
    volume_flow : (n,) [m3/s]

    Raises
    ------
    OutOfRange     a transit time too short for the solid parts, or for any sound speed in the medium
    NumberInvalid  a time that is not finite

    Source
    ------
    transit time : see `flow_from_times`.
    """
    path, crossing = trace(setup), setup.traverses * setup.pipe.bore
    outside = path.time_in_solids if setup.mounted_spacing is None else time_outside_intercept(setup, path)
    in_medium = transit_time - outside
    # Minimum and maximum of a column with a value that is not finite are not finite either.
    _finite(np.array([in_medium.min(), in_medium.max()]), "readings.transit_time")
    _finite(np.array([time_difference.min(), time_difference.max()]), "readings.time_difference")
    if setup.mounted_spacing is None:
        _check_times(in_medium.min(), path.axial_slowness * crossing, outside)
    else:
        _check_intercept(in_medium.min(), shortest_intercept(setup, path), outside)
        in_medium += (path.axial_slowness * crossing) ** 2 / in_medium
    in_medium *= 2 * path.axial_slowness
    path_velocity = np.divide(time_difference, in_medium, out=in_medium)
    flow = means_from_path_velocities(
        path_velocity, float(_reynolds_per_velocity(setup)), float(setup.pipe.roughness / setup.pipe.bore)
    )
    flow *= bore_area(setup)
    return flow


def shortest_transit_time(setup: Setup) -> Real:
    """Return the transit time below which a reading is not possible with a set-up.

    Parameters
    ----------
    setup : Setup

    Returns
    -------
    transit_time : float or (n,) [s]

    Source
    ------
    geometry : c cos(angle) with sin(angle) = p c is greatest at 45 deg, so no sound speed gives less than 2 p N B in the medium.
    mounted spacing : see `shortest_intercept`.
    """
    path = trace(setup)
    if setup.mounted_spacing is None:
        return path.time_in_solids + 2 * path.axial_slowness * setup.traverses * setup.pipe.bore
    return time_outside_intercept(setup, path) + shortest_intercept(setup, path)


def time_outside_intercept(setup: Setup, path: RayPath) -> Real:
    """Return the transit time less the intercept time of the medium: solids, wedges and slowness x mounted axial length.

    Parameters
    ----------
    setup : Setup  with a mounted spacing
    path : RayPath  of the set-up

    Returns
    -------
    time : float or (n,) [s]

    Source
    ------
    intercept time : T - p X, each layer by itself; see `flow_from_times`.
    """
    crossing = setup.traverses * setup.pipe.bore
    in_medium = crossing * np.tan(path.angle_in_medium)
    mounted = setup.mounted_spacing if setup.mounted_spacing is not None else 0.0
    along = mounted + 2 * setup.transducers.face_offset - (path.axial_advance - in_medium)
    time: Real = path.time_in_solids + path.axial_slowness * along
    return time


def shortest_intercept(setup: Setup, path: RayPath) -> Real:
    """Return the intercept time of the medium below which a reading is not possible.

    The intercept time falls as the sound speed rises, to 0 for a beam along the axis. Half that of the expected angle, or of
    45 deg if that is less, is the limit: a sound speed far above that of any liquid.

    Parameters
    ----------
    setup : Setup
    path : RayPath  of the set-up

    Returns
    -------
    time : float or (n,) [s]

    Source
    ------
    limit : default value.
    """
    cotangent = np.minimum(1 / np.tan(path.angle_in_medium), 1.0)
    limit: Real = 0.5 * path.axial_slowness * setup.traverses * setup.pipe.bore * cotangent
    return limit


def sound_speed_from_time(time_in_medium: Real, slowness: Real, crossing: Real, expected_angle: Real) -> Real:
    """Return the sound speed of the medium from the time of the beam in it.

    Two sound speeds give the same time, one with a beam below 45 deg from the radius and one above; the expected angle
    selects one. At 45 deg the time is the shortest possible and depends little on the speed.

    Parameters
    ----------
    time_in_medium : float or (n,) [s]  not below 2 x slowness x crossing
    slowness : float or (n,) [s/m]  axial slowness
    crossing : float or (n,) [m]  traverses x bore
    expected_angle : float or (n,) [rad]  in the medium; only its side of 45 deg matters

    Returns
    -------
    sound_speed : as time_in_medium [m/s]

    Source
    ------
    geometry : c cos(angle) = b with sin(angle) = p c, so c^2 = (1 -+ sqrt(1 - 4 p^2 b^2))/(2 p^2). Written without
        the difference of nearly equal numbers: c^2 = 2 b^2/(1 +- sqrt(1 - 4 p^2 b^2)), upper sign below 45 deg.
    """
    b = crossing / time_in_medium
    side = np.where(np.asarray(expected_angle) <= np.pi / 4, 1.0, -1.0)[()]
    return b * np.sqrt(2 / (1 + side * np.sqrt(1 - (2 * slowness * b) ** 2)))


def times_from_mean_velocity(setup: Setup, mean_velocity: Real) -> tuple[Real, Real]:
    """Return the times that a meter measures: the forward model.

    Parameters
    ----------
    setup : Setup
    mean_velocity : float or (n,) [m/s]  over the bore, positive in the flow direction entered for the pipe

    Returns
    -------
    transit_time : float or (n,) [s]  mean of upstream and downstream; one value if the medium is one
    time_difference : float or (n,) [s]  upstream less downstream

    Raises
    ------
    OutOfRange       see `compute.measuring.beam.trace`
    NumberInvalid    a velocity that is not finite
    NotEnough        see `compute.measuring.beam.trace`
    TotalReflection  see `compute.measuring.beam.trace`

    Source
    ------
    transit time : the inverse of `flow_from_times`.
    """
    _finite(mean_velocity, "mean_velocity")
    path = trace(setup)
    factor = profile_factor(
        np.abs(mean_velocity) * _reynolds_per_velocity(setup), setup.pipe.roughness / setup.pipe.bore
    )
    difference = 2 * path.time_in_medium * path.axial_slowness * mean_velocity / factor
    if setup.mounted_spacing is None:
        return path.transit_time, difference
    off = setup.mounted_spacing + 2 * setup.transducers.face_offset - path.axial_advance
    return path.transit_time + path.axial_slowness * off, difference


def times_from_logged(
    programmed: Setup,
    *,
    flow_velocity: Real | None = None,
    volume_flow: Real | None = None,
    sound_speed: Real | None = None,
) -> tuple[Real, Real]:
    """Return the times behind a logged velocity or flow: reverse the calculation of the meter.

    The meter's programmed bore converts flow to mean velocity, its profile factor that to the velocity along the
    beam, its path that to times. With a logged sound speed the transit time is the measured one; without,
    it is the meter's programmed value.

    Parameters
    ----------
    programmed : Setup  as programmed in the meter; a mounted spacing is that of the transducers
    flow_velocity : float, (n,) or None [m/s]  mean velocity as logged
    volume_flow : float, (n,) or None [m3/s]  flow as logged, used when no velocity is
    sound_speed : float, (n,) or None [m/s]  of the medium, as logged

    Returns
    -------
    transit_time : float or (n,) [s]
    time_difference : float or (n,) [s]

    Raises
    ------
    NotEnough      neither velocity nor flow
    OutOfRange     a logged sound speed that the beam cannot have
    NumberInvalid  a logged value that is not finite

    Source
    ------
    transit time : `times_from_mean_velocity` with the meter's entries and the logged sound speed.
    """
    if flow_velocity is None:
        if volume_flow is None:
            raise NotEnough(field="readings", variant="velocity-or-flow")
        _finite(volume_flow, "readings.volume_flow")
        flow_velocity = volume_flow / bore_area(programmed)
    _finite(flow_velocity, "readings.flow_velocity")
    if sound_speed is not None:
        fastest = 1 / axial_slowness(programmed.transducers)
        possible = (np.asarray(sound_speed) > 0) & (np.asarray(sound_speed) < fastest)
        if not np.all(possible):
            raise OutOfRange(
                field="readings.sound_speed",
                value=quantity(np.asarray(sound_speed)[~possible].flat[0], "speed"),
                above=quantity(0.0, "speed"),
                below=quantity(float(fastest), "speed"),
            )
        # A meter that measures the sound speed takes the whole transit time as that of the calculated spacing.
        medium = replace(programmed.medium, sound_speed=sound_speed)
        programmed = replace(programmed, medium=medium, mounted_spacing=None)
    return times_from_mean_velocity(programmed, flow_velocity)


def bore_area(setup: Setup) -> Real:
    """Return the cross-section of the bore.

    Parameters
    ----------
    setup : Setup

    Returns
    -------
    area : float or (n,) [m2]

    Source
    ------
    geometry : pi/4 B^2.
    """
    return np.pi / 4 * setup.pipe.bore**2


def _reynolds_per_velocity(setup: Setup) -> Real:
    medium = setup.medium
    return reynolds_number(1.0, setup.pipe.bore, medium.density, medium.dynamic_viscosity)


def _check_times(time_in_medium: Real, slowness_crossing: Real, time_in_solids: Real) -> None:
    # c cos(angle) with sin(angle) = p c is greatest at 45 deg, so no sound speed gives a time below 2 p N B.
    shortest = 2 * slowness_crossing
    if not np.all(np.asarray(time_in_medium) > shortest):
        raise OutOfRange(
            field="readings.transit_time",
            variant="transit-time-short",
            value=quantity(np.min(time_in_medium + time_in_solids), "transit_time"),
            time_in_solids=quantity(np.max(time_in_solids), "transit_time"),
            shortest_in_medium=quantity(np.max(shortest), "transit_time"),
        )


def _check_intercept(intercept: Real, shortest: Real, outside: Real) -> None:
    if not np.all(np.asarray(intercept) > shortest):
        raise OutOfRange(
            field="readings.transit_time",
            variant="transit-time-short",
            value=quantity(float(np.min(intercept + outside)), "transit_time"),
            time_in_solids=quantity(float(np.max(outside)), "transit_time"),
            shortest_in_medium=quantity(float(np.max(shortest)), "transit_time"),
        )


def _finite(value: Real, field: str) -> None:
    if not np.all(np.isfinite(value)):
        raise NumberInvalid(field=field, variant="not-finite")
