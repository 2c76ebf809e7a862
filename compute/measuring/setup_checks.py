"""Sanity checks of a set-up and the kit it is made with. Each returns the findings it has, often none."""

from __future__ import annotations

from datetime import date

from compute.base.figures import millimetres, said
from compute.base.findings import Finding
from compute.base.sources import Source

# Figures of trade custom without a source.
SPACING_TOLERANCE = 0.001
SPACING_TOLERANCE_RELATIVE = 0.005
SPACING_ERROR_RELATIVE = 0.15


def temperature_estimated(temperature: float) -> list[Finding]:
    """The medium's temperature was estimated, not measured.

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
    detail = (
        f"The temperature of {said(temperature, 'degC', '.1f')} was estimated. Only the spacing and the viscosity rest on it; the sound "
        "speed is measured with the transit time."
    )
    return [
        Finding(
            "temperature-estimated", "info", detail, "medium.temperature", temperature, kind="temperature"
        )
    ]


def transducer_temperature(
    temperature: float | None, lowest: float | None, highest: float | None
) -> list[Finding]:
    """The medium's temperature held against what the transducers bear.

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
    for limit, outside, word in ((lowest, -1, "cold"), (highest, 1, "hot")):
        if limit is not None and (temperature - limit) * outside > 0:
            detail = (
                f"At {said(temperature, 'degC', '.1f')} the pipe is too {word} for these transducers (limit {said(limit, 'degC', '.1f')}). "
                "Choose another pair."
            )
            return [
                Finding(
                    "transducer-temperature",
                    "error",
                    detail,
                    "medium.temperature",
                    temperature,
                    limit,
                    "temperature",
                    own,
                )
            ]
    return []


def spacing_fits(spacing: float, sides: str, room: float | None) -> list[Finding]:
    """Room for the transducers.

    Parameters
    ----------
    spacing : float [m]  between the facing ends
    sides : str  `same` or `opposite`
    room : float or None [m]  straight pipe to mount on, if known

    Returns
    -------
    findings : list of Finding

    Source
    ------
    geometry : two bodies on one side cannot overlap.
    """
    geometry = Source("geometry: the facing ends cannot pass each other on one side", "derived")
    if sides == "same" and spacing <= 0:
        detail = (
            f"The spacing would be {millimetres(spacing)}: on the same side the transducers would overlap. Take more traverses, or an odd "
            "number."
        )
        return [Finding("spacing-too-small", "error", detail, "traverses", spacing, 0.0, "length", geometry)]
    if room is not None and spacing > room:
        detail = f"The spacing of {millimetres(spacing)} is longer than the {millimetres(room)} of straight pipe on record. Take fewer traverses."
        return [
            Finding("spacing-too-long", "warning", detail, "traverses", spacing, room, "length", geometry)
        ]
    return []


def mounted_spacing(mounted: float | None, right: float) -> list[Finding]:
    """The spacing as mounted against the one the pipe calls for.

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
    severity = "error" if abs(off) > max(0.01, SPACING_ERROR_RELATIVE * abs(right)) else "warning"
    detail = (
        f"The transducers are mounted at {millimetres(mounted)}; this pipe calls for {millimetres(right)}, {millimetres(abs(off))} "
        f"{'less' if off > 0 else 'more'}. The beam is caught off its centre: the signal is weaker and the time may carry an error. "
        "Mount them anew, or weigh it in the uncertainty."
    )
    return [Finding("spacing-wrong", severity, detail, "mounted_spacing", mounted, right, "length")]  # type: ignore[arg-type]


def calibration_valid(
    instrument: str, calibrated_on: date | None, due_on: date | None, day: date
) -> list[Finding]:
    """Whether an instrument was in calibration on a day; the due date itself still counts.

    Parameters
    ----------
    instrument : str  how people call it
    calibrated_on : date or None
    due_on : date or None
    day : date

    Returns
    -------
    findings : list of Finding

    Source
    ------
    dates : the instrument's certificates.
    """
    certificates = Source("the instrument's certificates", "published")
    if calibrated_on is None or due_on is None:
        detail = f"The {instrument} had no calibration on record on {day:%Y-%m-%d}."
        return [
            Finding("calibration-missing", "warning", detail, "instruments", instrument, source=certificates)
        ]
    if day > due_on:
        detail = (
            f"The calibration of the {instrument} was due on {due_on:%Y-%m-%d}, before {day:%Y-%m-%d}. Its next certificate decides "
            "whether the figure stands."
        )
        return [
            Finding(
                "calibration-expired",
                "warning",
                detail,
                "instruments",
                day.isoformat(),
                due_on.isoformat(),
                source=certificates,
            )
        ]
    return []
