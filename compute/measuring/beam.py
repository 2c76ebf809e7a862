"""Ray through wedge, wall, lining and medium: wave modes, angles and times.

Every angle is measured from the pipe's radius. The axial slowness p = sin(angle)/speed is the same
in every layer, so a ray is known from p alone.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

import numpy as np
from numpy.typing import NDArray

from compute.base.errors import NotEnough, NumberInvalid, OutOfRange, TotalReflection
from compute.base.memoization import memoized
from compute.base.messages import quantity, term

MAX_TRAVERSES = 16

FloatArray = NDArray[np.float64]
Real = float | FloatArray
WaveMode = Literal["longitudinal", "shear"]


@dataclass(frozen=True, slots=True)
class Layer:
    """A wall or a lining: thickness [m], sound speeds [m/s]; `wave_mode` None lets the rule choose.

    Here and in the other parts of a set-up a value may be an (n,) array, to calculate many set-ups at once.
    """

    thickness: Real
    longitudinal_sound_speed: Real
    shear_sound_speed: Real | None = None
    wave_mode: WaveMode | None = None


@dataclass(frozen=True, slots=True)
class Pipe:
    """A round pipe: outer diameter [m], wall, linings from the wall inward, roughness of the wetted face [m]."""

    outer_diameter: Real
    wall: Layer
    roughness: Real
    linings: tuple[Layer, ...] = ()

    @property
    def bore(self) -> Real:
        """Inner diameter left for the medium [m]."""
        return self.outer_diameter - 2 * (
            self.wall.thickness + sum(layer.thickness for layer in self.linings)
        )


@dataclass(frozen=True, slots=True)
class Medium:
    """The medium in the pipe: sound speed [m/s], density [kg/m3], dynamic viscosity [Pa s]; floats or (n,) arrays."""

    sound_speed: Real
    density: Real
    dynamic_viscosity: Real


@dataclass(frozen=True, slots=True)
class Transducers:
    """A transducer pair.

    frequency [Hz], wedge_sound_speed [m/s], wedge_angle [rad] from the radius, face_offset [m] from the
    beam's exit point to the facing end, wedge_delay [s] in one wedge, one way.
    """

    frequency: float
    wedge_sound_speed: Real
    wedge_angle: Real
    face_offset: Real = 0.0
    wedge_delay: Real = 0.0


@dataclass(frozen=True, slots=True)
class Setup:
    """Inputs that determine the beam: pipe, medium, transducers and the number of traverses.

    mounted_spacing : between the facing ends as mounted [m]; None: the calculated spacing
    """

    pipe: Pipe
    medium: Medium
    transducers: Transducers
    traverses: int
    mounted_spacing: Real | None = None


@dataclass(frozen=True, slots=True)
class RayPath:
    """The beam from one wedge to the other: angles [rad] from the radius, axial slowness [s/m], lengths [m], times [s].

    `wave_modes` and `angles_in_solids` are those of the wall, then of each lining. Values of the medium are arrays when
    its properties are.
    """

    axial_slowness: Real
    wave_modes: tuple[WaveMode, ...]
    angles_in_solids: tuple[Real, ...]
    angle_in_medium: Real
    axial_advance: Real
    time_in_medium: Real
    time_in_solids: Real
    transit_time: Real


@memoized
def axial_slowness(transducers: Transducers) -> Real:
    """Return the axial slowness of a wedge's beam, the same in every layer.

    Parameters
    ----------
    transducers : Transducers  wedge_angle in [rad] above 0 and below pi/2, wedge_sound_speed in [m/s] above 0

    Returns
    -------
    slowness : float or (n,) [s/m]

    Raises
    ------
    OutOfRange     an angle or a speed no wedge can have
    NumberInvalid  a face offset or a wedge delay that is not finite

    Source
    ------
    snell : p = sin(angle)/speed, equal on both sides of every boundary parallel to the axis.
    """
    angle = np.asarray(transducers.wedge_angle)
    possible = (angle > 0) & (angle < np.pi / 2)
    if not np.all(possible):
        raise OutOfRange(
            field="transducers.wedge_angle",
            value=quantity(angle[~possible].flat[0], "angle"),
            above=quantity(0.0, "angle"),
            below=quantity(np.pi / 2, "angle"),
        )
    _above_zero(transducers.wedge_sound_speed, "transducers.wedge_sound_speed", "speed")
    _above_zero(transducers.frequency, "transducers.frequency", "frequency")
    # A negative delay is accepted: sensitivities use steps to both sides of a delay that may be 0.
    for name in ("face_offset", "wedge_delay"):
        value = getattr(transducers, name)
        if not np.all(np.isfinite(value)):
            raise NumberInvalid(field=f"transducers.{name}", variant="not-finite")
    slowness: Real = np.sin(transducers.wedge_angle) / transducers.wedge_sound_speed
    return slowness


def choose_wave_mode(
    layer: Layer, transducers: Transducers, field: str = "pipe.material"
) -> tuple[WaveMode, Real]:
    """Return the wave in a layer and its sound speed: longitudinal where it propagates, otherwise shear.

    A wave mode set by hand is used, and rejected if it does not propagate.

    Parameters
    ----------
    layer : Layer
    transducers : Transducers  their wedge fixes the beam's axial slowness
    field : str  request path of the layer's material, for the error

    Returns
    -------
    mode : WaveMode
    speed : float or (n,) [m/s]

    Raises
    ------
    OutOfRange       a sound speed not above 0
    NotEnough        a shear wave is needed and its sound speed is not known
    TotalReflection  neither wave, or not the wave requested, propagates; carries the critical angle in the wedge

    Source
    ------
    snell : a wave propagates where slowness x speed is below 1; the rule itself is common practice.
    """
    slowness = axial_slowness(transducers)
    _above_zero(layer.longitudinal_sound_speed, f"{field}.longitudinal_sound_speed", "speed")
    if layer.wave_mode != "shear" and np.all(slowness * layer.longitudinal_sound_speed < 1):
        return "longitudinal", layer.longitudinal_sound_speed
    if layer.wave_mode == "longitudinal":
        raise _no_wave("longitudinal", layer.longitudinal_sound_speed, transducers, field)
    if layer.shear_sound_speed is None:
        raise NotEnough(field=field, variant="shear-sound-speed", layer=_layer_at(field))
    _above_zero(layer.shear_sound_speed, f"{field}.shear_sound_speed", "speed")
    if np.any(slowness * layer.shear_sound_speed >= 1):
        raise _no_wave("shear", layer.shear_sound_speed, transducers, field)
    return "shear", layer.shear_sound_speed


@memoized
def trace(setup: Setup) -> RayPath:
    """Follow the beam from wedge to wedge.

    Axial advance N*B*tan(medium) + 2*sum(t*tan(layer)); time in the medium N*B/(c*cos(medium)); in each layer
    2*t/(c*cos(layer)); two wedge delays.

    Parameters
    ----------
    setup : Setup  traverses from 1 to 16

    Returns
    -------
    path : RayPath

    Raises
    ------
    OutOfRange       a dimension, a speed or the number of traverses is out of range; no bore is left
    NumberInvalid    a face offset or a wedge delay that is not finite
    NotEnough        a shear speed is needed and not known
    TotalReflection  no ray reaches the medium; `field` names the layer, the critical angle is that in the wedge

    Source
    ------
    snell : plane layers, straight rays along a diameter (geometric acoustics).
    """
    check_dimensions(setup.pipe)
    if setup.traverses not in range(1, MAX_TRAVERSES + 1):
        raise OutOfRange(field="traverses", value=setup.traverses, at_least=1, at_most=MAX_TRAVERSES)
    slowness = axial_slowness(setup.transducers)
    modes, angles, advance, time_in_solids = _through_solids(setup.pipe, setup.transducers)
    sine, cosine = _in_medium(setup.medium.sound_speed, setup.transducers)
    crossing = setup.traverses * setup.pipe.bore
    time_in_medium = crossing / (setup.medium.sound_speed * cosine)
    time_in_solids = time_in_solids + 2 * setup.transducers.wedge_delay
    return RayPath(
        axial_slowness=slowness,
        wave_modes=modes,
        angles_in_solids=angles,
        angle_in_medium=np.arcsin(sine),
        axial_advance=crossing * sine / cosine + advance,
        time_in_medium=time_in_medium,
        time_in_solids=time_in_solids,
        transit_time=time_in_medium + time_in_solids,
    )


def possible_beams(setup: Setup, transit_time: Real) -> NDArray[np.bool_]:
    """Return which of many set-ups have a beam, and a transit time that is long enough for it.

    Parameters
    ----------
    setup : Setup  with arrays of values; each layer's wave mode is given
    transit_time : float or (n,) [s]

    Returns
    -------
    possible : (n,) bool

    Source
    ------
    snell : a wave propagates where slowness x speed is below 1; see `trace` for the other limits.
    geometry : the time in the medium is least at 45 deg, 2 x slowness x traverses x bore.
    """
    pipe, pair = setup.pipe, setup.transducers
    with np.errstate(all="ignore"):
        slowness = np.sin(pair.wedge_angle) / pair.wedge_sound_speed
        possible = (np.asarray(pair.wedge_angle) > 0) & (np.asarray(pair.wedge_angle) < np.pi / 2)
        possible = possible & (np.asarray(pair.wedge_sound_speed) > 0) & (np.asarray(pipe.bore) > 0)
        possible = (
            possible
            & (slowness * setup.medium.sound_speed < 1)
            & (np.asarray(pipe.roughness) < pipe.bore / 2)
        )
        for value in (setup.medium.sound_speed, setup.medium.density, setup.medium.dynamic_viscosity):
            possible = possible & (np.asarray(value) > 0)
        time: Real = 2 * pair.wedge_delay
        advance: Real = 0.0
        for layer in (pipe.wall, *pipe.linings):
            shear = layer.wave_mode == "shear" and layer.shear_sound_speed is not None
            speed = layer.shear_sound_speed if shear else layer.longitudinal_sound_speed
            sine = slowness * np.asarray(speed)
            possible = possible & (np.asarray(layer.thickness) > 0) & (sine > 0) & (sine < 1)
            cosine = np.sqrt(1 - sine * sine)
            time = time + 2 * layer.thickness / (np.asarray(speed) * cosine)
            advance = advance + 2 * layer.thickness * sine / cosine
        crossing = slowness * setup.traverses * pipe.bore
        if setup.mounted_spacing is None:
            return np.asarray(possible & (transit_time - time > 2 * crossing))
        along = setup.mounted_spacing + 2 * pair.face_offset - advance
        # At most 45 deg in the medium, or twice the tangent of the expected angle: see `compute.measuring.flow`.
        sine = slowness * np.asarray(setup.medium.sound_speed)
        limit = 0.5 * crossing * np.minimum(np.sqrt(1 - sine * sine) / sine, 1.0)
        return np.asarray(possible & (transit_time - time - slowness * along > limit))


def check_dimensions(pipe: Pipe) -> None:
    """Reject a pipe with impossible dimensions.

    Parameters
    ----------
    pipe : Pipe  lengths in [m]

    Raises
    ------
    OutOfRange  a length below 0, or walls and linings that leave no bore

    Source
    ------
    geometry : bore = outer diameter - 2 (wall + linings).
    """
    _above_zero(pipe.outer_diameter, "pipe.outer_diameter", "length")
    _above_zero(pipe.wall.thickness, "pipe.wall_thickness", "length")
    for lining in pipe.linings:
        _above_zero(lining.thickness, "pipe.lining.thickness", "length")
    if not np.all((np.asarray(pipe.roughness) >= 0) & np.isfinite(pipe.roughness)):
        raise OutOfRange(
            field="pipe.roughness",
            value=quantity(float(np.min(pipe.roughness)), "roughness"),
            at_least=quantity(0.0, "roughness"),
        )
    if np.any(np.asarray(pipe.bore) <= 0):
        wall_alone = np.any(2 * pipe.wall.thickness >= np.asarray(pipe.outer_diameter))
        lined = float(np.max(sum(lining.thickness for lining in pipe.linings)))
        raise OutOfRange(
            field="pipe.wall_thickness" if wall_alone else "pipe.lining.thickness",
            variant="no-bore",
            outer_diameter=quantity(np.min(pipe.outer_diameter), "length"),
            wall=quantity(np.max(pipe.wall.thickness), "length"),
            lining=quantity(lined, "length") if pipe.linings else None,
        )
    if np.any(np.asarray(pipe.roughness) >= pipe.bore / 2):
        raise OutOfRange(
            field="pipe.roughness",
            value=quantity(np.max(pipe.roughness), "roughness"),
            below=quantity(np.min(pipe.bore) / 2, "length"),
        )


def _through_solids(
    pipe: Pipe, transducers: Transducers
) -> tuple[tuple[WaveMode, ...], tuple[Real, ...], Real, Real]:
    """Return wave modes, angles, axial advance and time of both walls and linings."""
    slowness = axial_slowness(transducers)
    modes: list[WaveMode] = []
    angles: list[Real] = []
    advance: Real = 0.0
    time: Real = 0.0
    for layer in (pipe.wall, *pipe.linings):
        field = "pipe.lining.material" if modes else "pipe.material"
        mode, speed = choose_wave_mode(layer, transducers, field)
        angle: Real = np.arcsin(slowness * speed)
        modes.append(mode)
        angles.append(angle)
        advance = advance + 2 * layer.thickness * np.tan(angle)
        time = time + 2 * layer.thickness / (speed * np.cos(angle))
    return tuple(modes), tuple(angles), advance, time


def _in_medium(speed: Real, transducers: Transducers) -> tuple[Real, Real]:
    """Return sine and cosine of the angle in the medium."""
    slowness = axial_slowness(transducers)
    if not np.all(np.asarray(speed) > 0):
        raise OutOfRange(
            field="medium.sound_speed",
            value=quantity(np.min(speed), "speed"),
            above=quantity(0.0, "speed"),
        )
    sine = slowness * speed
    if np.any(sine >= 1):
        raise _no_wave("longitudinal", speed, transducers, "medium.sound_speed")
    return sine, np.sqrt(1 - sine * sine)


def _no_wave(mode: WaveMode, speeds: Real, transducers: Transducers, field: str) -> TotalReflection:
    speed = float(np.max(speeds))
    axial_speed = float(np.min(1 / axial_slowness(transducers)))
    # Axial slowness is constant from the wedge on, so the limit applies to the wedge angle through any layers.
    critical = float(np.arcsin(np.minimum(np.min(transducers.wedge_sound_speed) / speed, 1.0)))
    return TotalReflection(
        critical_angle=critical,
        sound_speed=speed,
        axial_speed=axial_speed,
        field=field,
        wave_mode=term(mode),
        layer=_layer_at(field),
        wedge_angle=quantity(np.max(transducers.wedge_angle), "angle"),
    )


def _layer_at(field: str) -> dict[str, str]:
    """Return the layer whose material or sound speed a field of a request gives."""
    if field.startswith("medium"):
        return term("medium")
    return term("lining" if "lining" in field else "wall")


def _above_zero(value: Real, field: str, kind: str) -> None:
    # Two extremes are faster than comparing an array; neither comparison is true for NaN.
    low, high = (value, value) if isinstance(value, float) else (np.min(value), np.max(value))
    if not (low > 0 and high < np.inf):
        raise OutOfRange(field=field, value=quantity(float(np.min(value)), kind), above=quantity(0.0, kind))
