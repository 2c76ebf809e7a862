"""Plausibility checks of a set-up and its equipment. Each returns its findings, often none."""

from __future__ import annotations

from datetime import date

from compute.base.messages import Finding, day, finding, quantity, term
from compute.base.sources import Source

# Limits of common practice, without a source.
SPACING_TOLERANCE = 0.001
SPACING_TOLERANCE_RELATIVE = 0.005
SPACING_ERROR_RELATIVE = 0.15


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


def mounted_spacing(mounted: float | None, right: float) -> list[Finding]:
    """Compare the mounted spacing with the required one.

    Parameters
    ----------
    mounted : float or None [m]
    right : float [m]

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
