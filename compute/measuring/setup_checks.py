"""Plausibility checks of a set-up and its equipment. Each returns its findings, often none."""

from __future__ import annotations

import math
from datetime import date

from compute.base.messages import Finding, day, finding, quantity, term
from compute.base.sources import SNELL, Source
from compute.measuring.beam import Layer, RayPath, Setup

# Limits of common practice, without a source.
SPACING_TOLERANCE = 0.001
SPACING_TOLERANCE_RELATIVE = 0.005
SPACING_ERROR_RELATIVE = 0.15
# A step of the wedge angle [rad], and the relative change of the axial advance by it from which the angle is near-critical; default values.
ANGLE_STEP = math.radians(0.05)
ANGLE_STEP_SHARE = 0.02


def temperature_estimated(temperature: float) -> list[Finding]:
    """Report that the temperature of the medium was estimated.

    Parameters
    ----------
    temperature : float [K]

    Returns
    -------
    findings : list of Finding

    Source
    ------
    custom : common practice.
    """
    return [
        finding(
            "temperature-estimated",
            "info",
            "medium.temperature",
            temperature=quantity(temperature, "temperature"),
        )
    ]


def transducer_temperature(
    temperature: float | None, lowest: float | None, highest: float | None
) -> list[Finding]:
    """Compare the temperature of the medium with the limits of the transducers.

    Parameters
    ----------
    temperature : float or None [K]
    lowest : float or None [K]
    highest : float or None [K]

    Returns
    -------
    findings : list of Finding

    Source
    ------
    limits : the transducer pair's own data.
    """
    own = Source("the transducer pair's own data", "published")
    if temperature is None:
        return []
    limits = ((lowest, -1, "too-cold"), (highest, 1, "too-hot"))
    return [
        finding(
            "transducer-temperature",
            "error",
            "medium.temperature",
            source=own,
            temperature=quantity(temperature, "temperature"),
            limit=quantity(limit, "temperature"),
            direction=term(direction),
        )
        for limit, outside, direction in limits
        if limit is not None and (temperature - limit) * outside > 0
    ]


def spacing_fits(spacing: float, sides: str, room: float | None) -> list[Finding]:
    """Check that the transducers have room for the spacing.

    Parameters
    ----------
    spacing : float [m]  between the facing ends
    sides : str  `same` or `opposite`
    room : float or None [m]  straight length to mount on, if known

    Returns
    -------
    findings : list of Finding

    Source
    ------
    geometry : two bodies on one side cannot overlap.
    """
    geometry = Source("geometry: the facing ends cannot pass each other on one side", "derived")
    if sides == "same" and spacing <= 0:
        return [
            finding(
                "spacing-too-small",
                "error",
                "traverses",
                source=geometry,
                spacing=quantity(spacing, "length"),
            )
        ]
    if room is not None and spacing > room:
        return [
            finding(
                "spacing-too-long",
                "warning",
                "traverses",
                source=geometry,
                spacing=quantity(spacing, "length"),
                available=quantity(room, "length"),
            )
        ]
    return []


def spacing_on_rail(spacing: float, shortest: float | None, longest: float | None) -> list[Finding]:
    """Check that the rail of the transducers allows the spacing.

    Parameters
    ----------
    spacing : float [m]  between the facing ends
    shortest : float or None [m]  of the rail
    longest : float or None [m]  of the rail

    Returns
    -------
    findings : list of Finding

    Source
    ------
    limits : the transducer pair's own data.
    """
    short = shortest is not None and spacing < shortest
    if not short and not (longest is not None and spacing > longest):
        return []
    limit = shortest if short else longest
    return [
        finding(
            "spacing-not-possible",
            "warning",
            "traverses",
            source=Source("the transducer pair's own data", "published"),
            spacing=quantity(spacing, "length"),
            limit=quantity(limit, "length"),
            short=short,
        )
    ]


def near_critical_angle(setup: Setup, path: RayPath) -> list[Finding]:
    """Check that the spacing is not very sensitive to the wedge angle, as it is where a layer is near total reflection.

    Parameters
    ----------
    setup : Setup
    path : RayPath  of the set-up

    Returns
    -------
    findings : list of Finding  names the layer with the largest effect

    Source
    ------
    snell : the axial advance in a layer goes with tan(angle), which grows without limit towards the critical angle. The limit of 2 % for a
        step of 0.05 deg is a default value; 42 deg on steel has 0.2 %.
    """
    pair, advance = setup.transducers, float(path.axial_advance)
    here = _advances(setup, 0.0)
    steps = [_advances(setup, step) for step in (-ANGLE_STEP, ANGLE_STEP)]
    there = max(steps, key=lambda step: abs(math.fsum(step) - math.fsum(here)))
    changes = [abs(after - before) for before, after in zip(here, there, strict=True)]
    change = abs(math.fsum(there) - math.fsum(here))
    if change <= ANGLE_STEP_SHARE * advance:
        return []
    nearest = max(range(len(changes)), key=changes.__getitem__)
    angles = (*path.angles_in_solids, path.angle_in_medium)
    return [
        finding(
            "near-critical-angle",
            "warning",
            "transducers.wedge_angle",
            source=SNELL,
            wedge_angle=quantity(float(pair.wedge_angle), "angle"),
            layer=term("medium" if nearest == len(angles) - 1 else "lining" if nearest else "wall"),
            angle=quantity(float(angles[nearest]), "angle"),
            critical_angle=quantity(_critical_angle(setup, nearest), "angle"),
            step=quantity(ANGLE_STEP, "angle"),
            change=quantity(change, "length") if math.isfinite(change) else None,
            spacing=quantity(advance - 2 * float(pair.face_offset), "length"),
        )
    ]


def _layers(setup: Setup) -> tuple[Layer, ...]:
    """The wall, the linings, and the medium as a layer of all its traverses."""
    crossing = setup.traverses * setup.pipe.bore / 2
    return (setup.pipe.wall, *setup.pipe.linings, Layer(crossing, setup.medium.sound_speed))


def _advances(setup: Setup, step: float) -> list[float]:
    """The axial advance in each layer [m] with another wedge angle, by the rule for the wave mode; infinite without a wave."""
    pair = setup.transducers
    slowness = math.sin(float(pair.wedge_angle) + step) / float(pair.wedge_sound_speed)
    advances = []
    for layer in _layers(setup):
        speeds = (layer.longitudinal_sound_speed, layer.shear_sound_speed)
        allowed = {"longitudinal": speeds[:1], "shear": speeds[1:], None: speeds}[layer.wave_mode]
        sine = next((float(slowness * one) for one in allowed if one and slowness * one < 1), None)
        tangent = math.inf if sine is None else sine / math.sqrt(1 - sine**2)
        advances.append(2 * float(layer.thickness) * tangent)
    return advances


def _critical_angle(setup: Setup, index: int) -> float:
    """The critical wedge angle of a layer that is nearest to the wedge angle [rad]."""
    pair, layer = setup.transducers, _layers(setup)[index]
    speeds = (layer.longitudinal_sound_speed, layer.shear_sound_speed)
    angles = [
        math.asin(min(float(pair.wedge_sound_speed) / float(one), 1.0)) for one in speeds if one is not None
    ]
    return min(angles, key=lambda angle: abs(angle - float(pair.wedge_angle)))


def mounted_spacing(mounted: float | None, right: float, flow_change: float | None = None) -> list[Finding]:
    """Compare the mounted spacing with the required one.

    Parameters
    ----------
    mounted : float or None [m]
    right : float [m]
    flow_change : float or None [-]  of the mounted against the required spacing, at the same times; None: not known

    Returns
    -------
    findings : list of Finding

    Source
    ------
    tolerance : 1 mm or 0.5 % of the spacing, whichever is more; common practice.
    """
    if mounted is None:
        return []
    off = mounted - right
    if abs(off) <= max(SPACING_TOLERANCE, SPACING_TOLERANCE_RELATIVE * abs(right)):
        return []
    return [
        finding(
            "spacing-wrong",
            "error" if abs(off) > max(0.01, SPACING_ERROR_RELATIVE * abs(right)) else "warning",
            "mounted_spacing",
            mounted=quantity(mounted, "length"),
            required=quantity(right, "length"),
            difference=quantity(off, "length"),
            direction=term("too-far" if off > 0 else "too-close"),
            flow_change=flow_change,
        )
    ]


def calibration_valid(
    instrument: str, calibrated_on: date | None, due_on: date | None, surveyed_on: date
) -> list[Finding]:
    """Check that an instrument was in calibration on a day; the due date itself is in calibration.

    Parameters
    ----------
    instrument : str  as people name it, such as "meter M-0412"
    calibrated_on : date or None
    due_on : date or None
    surveyed_on : date

    Returns
    -------
    findings : list of Finding

    Source
    ------
    dates : the instrument's certificates.
    """
    certificates = Source("the instrument's certificates", "published")
    if calibrated_on is None or due_on is None:
        return [
            finding(
                "calibration-missing",
                "warning",
                "instruments",
                source=certificates,
                instrument=instrument,
                surveyed_on=day(surveyed_on),
            )
        ]
    if surveyed_on > due_on:
        return [
            finding(
                "calibration-expired",
                "warning",
                "instruments",
                source=certificates,
                instrument=instrument,
                due_on=day(due_on),
                surveyed_on=day(surveyed_on),
            )
        ]
    return []
