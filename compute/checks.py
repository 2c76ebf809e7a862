"""Sanity checks of what was entered and of what came out. Each returns the findings it has, often none.

Every code the checks can give is in CODES, with what it means.
"""

from __future__ import annotations

from datetime import date
from fractions import Fraction

import numpy as np

from compute.findings import Finding
from compute.pipes import PipeSize, sizes_by_outer_diameter, sizes_called, walls_made_for
from compute.profile import LAMINAR_BELOW, TURBULENT_FROM
from compute.sources import HAGEN_POISEUILLE, PRACTICE, Source

CODES = {
    "nominal-size-as-outer-diameter": "the outer diameter entered is a nominal size, not the size of a pipe of that name",
    "outer-diameter-not-in-tables": "no standard in the tables has that outer diameter",
    "nominal-size-or-outer-diameter": "the outer diameter entered is both a true one and the name of a more common size",
    "other-wave-possible": "the wall could carry the other wave too; what taking it by mistake would do",
    "traverses-chosen": "no number of traverses was stated",
    "medium-boiling": "the medium boils at that temperature and pressure",
    "medium-frozen": "the medium is frozen at that temperature",
    "medium-outside-range": "the medium's figures do not reach that temperature",
    "medium-figures-uncertain": "the medium's figures are from memory or vary from batch to batch",
    "pressure-assumed": "no pressure was stated",
    "correlated-degrees-of-freedom": "correlated inputs have different degrees of freedom",
    "linear-uncertainty-not-good-enough": "the law of propagation does not do for these doubts",
    "correlated-drawn-as-normal": "correlated inputs were drawn from a joint normal distribution",
    "wall-not-in-tables": "no standard in the tables has that wall for that outer diameter",
    "wall-very-thick": "the wall is more than a quarter of the outer radius, and no standard has it",
    "wall-off-gauge": "the wall entered differs from the gauged one by more than the mill tolerance",
    "gauge-corrected": "readings of a gauge set to another sound speed were corrected",
    "wall-uneven": "the wall differs round the pipe as that of a worn one does",
    "wall-not-gauged": "the wall was never gauged",
    "roughness-assumed": "the roughness is that of a new surface of the material",
    "temperature-estimated": "the medium's temperature was not measured",
    "no-refracted-wave": "no beam reaches the medium with that number of traverses or wave",
    "spacing-too-small": "the transducers have no room on the same side",
    "spacing-too-long": "the spacing is longer than the straight pipe",
    "straight-pipe-short": "less straight pipe than the disturbance calls for",
    "straight-pipe-not-stated": "the straight pipe is not on record",
    "top-or-bottom-mounting": "gas above or deposits below may be in the beam",
    "full-pipe-doubtful": "the pipe may not run full",
    "flow-laminar": "the flow is laminar",
    "flow-transitional": "the flow is between laminar and turbulent",
    "velocity-low": "the velocity is low for the timing",
    "velocity-high": "the velocity is higher than pipes are run at",
    "reverse-flow": "the flow is against the stated direction",
    "sound-speed-mismatch": "the measured sound speed is not that of the medium",
    "sound-speed-fits": "the measured sound speed is that of the medium",
    "entry-doubtful": "a single wrong entry that would explain the measured sound speed",
    "dimensions-expanded": "the dimensions were brought to the pipe's temperature",
    "wedge-at-temperature": "the wedge was taken to be as warm as the medium",
    "pipe-oval": "the pipe is oval",
    "signal-weak": "the signal is weaker than the meter needs",
    "readings-refused": "rows of the log could not be read",
    "readings-impossible": "readings that this set-up cannot give",
    "readings-few": "few readings",
    "flow-unsteady": "the flow changed much during the log",
    "mounted-spacing-off": "the transducers are not mounted at the spacing this pipe calls for",
    "calibration-expired": "an instrument was past its due date",
    "calibration-missing": "an instrument had no calibration",
    "transducer-temperature": "the medium is too hot or too cold for the transducers",
}

# Figures of trade custom without a source, in one place.
OUTER_DIAMETER_TOLERANCE = (
    0.005  # tube is drawn to about 1 % (EN 10217, from memory); a tape reads better than half
)
WALL_TOLERANCE = 0.0002
THICK_WALL_RATIO = 0.25
LEAST_VELOCITY = 0.05
HIGHEST_VELOCITY = 10.0
SOUND_SPEED_CAUTION = 0.01
SOUND_SPEED_STOP = 0.05
SPACING_TOLERANCE = 0.001
SPACING_TOLERANCE_RELATIVE = 0.005
SPACING_STOP_RELATIVE = 0.15
FEWEST_READINGS = 60
UNSTEADY_RELATIVE = 0.10
REFUSED_CAUTION_SHARE = 0.01

MILL_TOLERANCE_RELATIVE = 0.125
MILL_TOLERANCE = Source("ASTM A530/A106, API 5L: wall up to 12.5 % under nominal", "memory")
TABLES = Source("pipe dimension tables of the library, each row with its source", "computed")


def nominal_size_as_outer_diameter(outer_diameter: float, material: str = "") -> list[Finding]:
    """A whole number of inches or a DN number entered as the actual outer diameter.

    Parameters
    ----------
    outer_diameter : float [m]
    material : str  slug; pipes of other materials do not count

    Returns
    -------
    findings : list of Finding  none if a standard has pipes of that very outer diameter

    Source
    ------
    tables : ASME B36.10M, EN 10220 and others; each row carries its own.
    """
    true_sizes = {row.size for row in sizes_by_outer_diameter(outer_diameter, 1e-5, material)}
    for number, unit, name in _nominal_numbers(outer_diameter):
        rows = [row for row in sizes_called(number, unit, material) if row.size not in true_sizes]
        if rows:
            return [_nominal(outer_diameter, name, rows, true_sizes)]
    return []


def _nominal(outer_diameter: float, name: str, rows: list[PipeSize], true_sizes: set[str]) -> Finding:
    actual = ", ".join(sorted({_actual(row) for row in rows}))
    measure = "Tape the circumference, divide by pi, and enter the actual outer diameter."
    if true_sizes:
        also = ", ".join(sorted(true_sizes))
        code = "nominal-size-or-outer-diameter"
        detail = f"That is the outer diameter of {also}, and {name} is also a nominal size, which measures {actual}. {measure}"
    else:
        code = "nominal-size-as-outer-diameter"
        detail = f"{name} is a nominal size. Pipes of that name measure {actual} outside. {measure}"
    return Finding(
        code,
        "note" if true_sizes else "caution",
        detail,
        "pipe.outer_diameter",
        outer_diameter,
        rows[0].outer_diameter,
        "length",
        rows[0].source,
    )


def dimensions_in_tables(outer_diameter: float, wall_thickness: float, material: str = "") -> list[Finding]:
    """An outer diameter or a wall no standard in the tables has; a wall too thick for a pipe.

    Parameters
    ----------
    outer_diameter : float [m]
    wall_thickness : float [m]
    material : str  slug; pipes of other materials do not count

    Returns
    -------
    findings : list of Finding

    Source
    ------
    tables : each row carries its own.
    """
    findings = []
    tolerance = OUTER_DIAMETER_TOLERANCE * outer_diameter
    walls = walls_made_for(outer_diameter, tolerance, material)
    made = any(abs(wall - wall_thickness) <= WALL_TOLERANCE for wall in walls)
    if not made and wall_thickness > THICK_WALL_RATIO * outer_diameter / 2:
        detail = (
            f"A wall of {_mm(wall_thickness)} is thick for a pipe of {_mm(outer_diameter)}; check that it is the wall and not a "
            "diameter or a number in other units."
        )
        limit = THICK_WALL_RATIO * outer_diameter / 2
        findings.append(
            Finding(
                "wall-very-thick", "caution", detail, "pipe.wall_thickness", wall_thickness, limit, "length"
            )
        )
    if not sizes_by_outer_diameter(outer_diameter, tolerance, material):
        elsewhere = sorted(
            {f"{row.standard} {row.size}" for row in sizes_by_outer_diameter(outer_diameter, 1e-5)}
        )
        detail = (
            f"No standard in the tables has an outer diameter of {_mm(outer_diameter)}"
            + (
                f" for {material}; it is that of {', '.join(elsewhere)}. Check material and size"
                if elsewhere
                else ""
            )
            + ". That is fine if you measured it; if it is from a drawing, measure."
        )
        findings.append(
            Finding(
                "outer-diameter-not-in-tables",
                "note",
                detail,
                "pipe.outer_diameter",
                outer_diameter,
                kind="length",
                source=TABLES,
            )
        )
        return findings
    if walls and not made:
        nearest = min(walls, key=lambda wall: abs(wall - wall_thickness))
        detail = (
            f"No standard in the tables has a wall of {_mm(wall_thickness)} for {_mm(outer_diameter)}; the nearest is "
            f"{_mm(nearest)}. That is fine if you gauged it."
        )
        findings.append(
            Finding(
                "wall-not-in-tables",
                "note",
                detail,
                "pipe.wall_thickness",
                wall_thickness,
                nearest,
                "length",
                TABLES,
            )
        )
    return findings


def wall_against_gauge(wall_thickness: float, gauged: float | None) -> list[Finding]:
    """The wall entered held against the gauged one.

    Parameters
    ----------
    wall_thickness : float [m]  as entered
    gauged : float or None [m]  mean of a gauging; None if there was none

    Returns
    -------
    findings : list of Finding

    Source
    ------
    tolerance : ASTM A530/A106 and API 5L mill tolerance, from memory.
    """
    if gauged is None:
        detail = (
            f"The wall of {_mm(wall_thickness)} was not gauged. 1 mm of wall changes the flow of a 200 mm pipe by about 2 %; gauge it "
            "at eight places round the pipe."
        )
        return [
            Finding("wall-not-gauged", "note", detail, "pipe.wall_thickness", wall_thickness, kind="length")
        ]
    if abs(wall_thickness - gauged) > MILL_TOLERANCE_RELATIVE * wall_thickness:
        detail = (
            f"The wall is entered as {_mm(wall_thickness)}, the gauge says {_mm(gauged)}: more apart than the mill tolerance of "
            "12.5 %. Correct the pipe data, or gauge again with the gauge set to the pipe's material."
        )
        return [
            Finding(
                "wall-off-gauge",
                "caution",
                detail,
                "pipe.wall_thickness",
                wall_thickness,
                gauged,
                "length",
                MILL_TOLERANCE,
            )
        ]
    return []


def roughness_assumed(roughness: float, material: str, source: Source | None) -> list[Finding]:
    """The roughness was taken from the library.

    Parameters
    ----------
    roughness : float [m]
    material : str  title of the wetted material
    source : Source or None

    Returns
    -------
    findings : list of Finding

    Source
    ------
    library : of the material.
    """
    detail = (
        f"No roughness was stated; {roughness * 1e3:.3g} mm, that of new {material}, is assumed. A rusted or scaled surface is "
        "rougher and lowers the profile factor, by about 1 % for ten times the roughness."
    )
    return [
        Finding(
            "roughness-assumed",
            "note",
            detail,
            "pipe.roughness",
            roughness,
            kind="roughness",
            source=source or PRACTICE,
        )
    ]


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
    custom : common practice, no source.
    """
    detail = (
        f"The temperature of {temperature - 273.15:.1f} degC was estimated. Only the spacing and the viscosity rest on it; the sound "
        "speed is measured with the transit time."
    )
    return [
        Finding(
            "temperature-estimated", "note", detail, "medium.temperature", temperature, kind="temperature"
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
    own = Source("the transducer pair's own data", "read")
    if temperature is None:
        return []
    for limit, outside, word in ((lowest, -1, "cold"), (highest, 1, "hot")):
        if limit is not None and (temperature - limit) * outside > 0:
            detail = (
                f"At {temperature - 273.15:.1f} degC the pipe is too {word} for these transducers (limit {limit - 273.15:.1f} degC). "
                "Choose another pair."
            )
            return [
                Finding(
                    "transducer-temperature",
                    "stop",
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
    geometry = Source("geometry: the facing ends cannot pass each other on one side", "computed")
    if sides == "same" and spacing <= 0:
        detail = f"The spacing would be {_mm(spacing)}: on the same side the transducers would overlap. Take more traverses, or an odd number."
        return [Finding("spacing-too-small", "stop", detail, "traverses", spacing, 0.0, "length", geometry)]
    if room is not None and spacing > room:
        detail = f"The spacing of {_mm(spacing)} is longer than the {_mm(room)} of straight pipe on record. Take fewer traverses."
        return [
            Finding("spacing-too-long", "caution", detail, "traverses", spacing, room, "length", geometry)
        ]
    return []


def velocity_sane(velocity: float, reynolds: float) -> list[Finding]:
    """Velocity and flow regime.

    Parameters
    ----------
    velocity : float [m/s]  mean over the bore, with its sign
    reynolds : float [-]

    Returns
    -------
    findings : list of Finding

    Source
    ------
    regimes : laminar to 2300, turbulent from 4000, from memory; velocity limits are common practice, no source.
    """
    findings = []
    if velocity < 0:
        detail = "The flow is against the pipe's stated direction. If that cannot be, the cables of the transducers are swapped."
        findings.append(
            Finding("reverse-flow", "caution", detail, "readings.time_difference", velocity, 0.0, "speed")
        )
    if abs(velocity) > HIGHEST_VELOCITY:
        detail = f"{abs(velocity):.1f} m/s is faster than pipes are run. Check the outer diameter, the wall and the units."
        findings.append(Finding("velocity-high", "caution", detail, "", velocity, HIGHEST_VELOCITY, "speed"))
    if abs(velocity) < LEAST_VELOCITY:
        detail = (
            f"At {abs(velocity) * 1e3:.0f} mm/s the zero of the meter matters as much as the flow. Check the zero with the flow shut, or "
            "take more traverses."
        )
        findings.append(Finding("velocity-low", "caution", detail, "", velocity, LEAST_VELOCITY, "speed"))
    if reynolds <= LAMINAR_BELOW:
        detail = f"Reynolds number {reynolds:.0f}: laminar, the profile factor is 3/4 if the straight pipe is long enough for it."
        findings.append(
            Finding("flow-laminar", "note", detail, "", reynolds, LAMINAR_BELOW, source=HAGEN_POISEUILLE)
        )
    elif reynolds < TURBULENT_FROM:
        detail = f"Reynolds number {reynolds:.0f}: between laminar and turbulent the profile is not known, and the factor may be off by 10 %."
        findings.append(Finding("flow-transitional", "caution", detail, "", reynolds, TURBULENT_FROM))
    return findings


def sound_speed_fits(measured: float, expected: float, relative_uncertainty: float) -> list[Finding]:
    """Measured sound speed against the medium's.

    Parameters
    ----------
    measured : float [m/s]
    expected : float [m/s]
    relative_uncertainty : float [-]  standard, of the difference; twice that widens the limit

    Returns
    -------
    findings : list of Finding

    Source
    ------
    limits : 1 % and 5 %, common practice, no source.
    """
    deviation = measured / expected - 1
    limit = max(SOUND_SPEED_CAUTION, 2 * relative_uncertainty)
    if abs(deviation) <= limit:
        return []
    severity = "stop" if abs(deviation) > max(SOUND_SPEED_STOP, limit) else "caution"
    detail = (
        f"The measured sound speed of {measured:.1f} m/s is {deviation:+.1%} off the {expected:.1f} m/s of the medium. Something entered "
        "is not so: outer diameter, wall, lining, medium, temperature, traverses or wedge."
    )
    return [
        Finding("sound-speed-mismatch", severity, detail, "medium.sound_speed", measured, expected, "speed")  # type: ignore[arg-type]
    ]


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
    tolerance : 1 mm or 0.5 % of the spacing, whichever is more; common practice, no source.
    """
    if mounted is None:
        return []
    off = mounted - right
    if abs(off) <= max(SPACING_TOLERANCE, SPACING_TOLERANCE_RELATIVE * abs(right)):
        return []
    severity = "stop" if abs(off) > max(0.01, SPACING_STOP_RELATIVE * abs(right)) else "caution"
    detail = (
        f"The transducers are mounted at {_mm(mounted)}; this pipe calls for {_mm(right)}, {_mm(abs(off))} "
        f"{'less' if off > 0 else 'more'}. The beam is caught off its centre: the signal is weaker and the time may carry an error. "
        "Mount them anew, or weigh it in the uncertainty."
    )
    return [Finding("mounted-spacing-off", severity, detail, "mounted_spacing", mounted, right, "length")]  # type: ignore[arg-type]


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
    certificates = Source("the instrument's certificates", "read")
    if calibrated_on is None or due_on is None:
        detail = f"The {instrument} had no calibration on record on {day:%Y-%m-%d}."
        return [
            Finding("calibration-missing", "caution", detail, "instruments", instrument, source=certificates)
        ]
    if day > due_on:
        detail = (
            f"The calibration of the {instrument} was due on {due_on:%Y-%m-%d}, before {day:%Y-%m-%d}. Its next certificate decides "
            "whether the figure stands."
        )
        return [
            Finding(
                "calibration-expired",
                "caution",
                detail,
                "instruments",
                day.isoformat(),
                due_on.isoformat(),
                source=certificates,
            )
        ]
    return []


def signal_strong(signal: float | None, least: float | None) -> list[Finding]:
    """Signal-to-noise ratio against what the meter needs.

    Parameters
    ----------
    signal : float or None [dB]  median of the log
    least : float or None [dB]

    Returns
    -------
    findings : list of Finding

    Source
    ------
    limit : the meter's own data.
    """
    if signal is None or least is None or signal >= least:
        return []
    detail = f"The signal of {signal:.1f} dB is below the {least:.1f} dB the meter needs. Clean the pipe, renew the couplant, check the spacing."
    return [
        Finding(
            "signal-weak",
            "caution",
            detail,
            "readings",
            signal,
            least,
            "ratio_db",
            Source("the meter's own data", "read"),
        )
    ]


def readings_sound(taken: int, refused: int, impossible: int) -> list[Finding]:
    """Rows refused, readings this set-up cannot give, too few readings.

    Parameters
    ----------
    taken : int  rows read
    refused : int  rows that could not be read
    impossible : int  readings left out because their transit time cannot be

    Returns
    -------
    findings : list of Finding

    Source
    ------
    limits : common practice, no source.
    """
    findings = []
    if refused:
        severity = "caution" if refused > REFUSED_CAUTION_SHARE * (taken + refused) else "note"
        detail = f"{refused} of {taken + refused} rows of the log could not be read and are left out; the log lists them."
        findings.append(Finding("readings-refused", severity, detail, "log", float(refused), 0.0))  # type: ignore[arg-type]
    if impossible:
        detail = f"{impossible} readings have a transit time this set-up cannot give and are left out; check the pipe data and the signal."
        findings.append(Finding("readings-impossible", "caution", detail, "log", float(impossible), 0.0))
    used = taken - impossible
    if used < FEWEST_READINGS:
        detail = f"Only {used} readings; log for some minutes to know the scatter."
        findings.append(
            Finding("readings-few", "caution", detail, "log", float(used), float(FEWEST_READINGS))
        )
    return findings


def flow_steady(first_half: float, second_half: float) -> list[Finding]:
    """Mean flow of the first half of a log against that of the second.

    Parameters
    ----------
    first_half : float [m3/s]
    second_half : float [m3/s]

    Returns
    -------
    findings : list of Finding

    Source
    ------
    limit : 10 %, common practice, no source.
    """
    mean = abs(first_half + second_half) / 2
    change = abs(second_half - first_half)
    if change <= UNSTEADY_RELATIVE * mean:
        return []
    detail = f"The mean flow changed by {change / mean if mean else float(np.inf):.0%} from the first half of the log to the second."
    return [Finding("flow-unsteady", "caution", detail, "log", second_half, first_half, "volume_flow")]


def _nominal_numbers(outer_diameter: float) -> list[tuple[Fraction, str, str]]:
    """Whole (or half, quarter) inches and whole millimetres the diameter is exactly."""
    numbers = []
    quarters = outer_diameter / 0.0254 * 4
    if abs(quarters - round(quarters)) < 1e-6:
        inches = Fraction(round(quarters), 4)
        numbers.append((inches, "in", f"{float(inches):g} in"))
    millimetres = outer_diameter * 1000
    if abs(millimetres - round(millimetres)) < 1e-6:
        numbers.append((Fraction(round(millimetres)), "mm", f"DN {round(millimetres)}"))
    return numbers


def _actual(row: PipeSize) -> str:
    shown = f"{row.outer_diameter / 0.0254:.3f} in" if row.unit == "in" else _mm(row.outer_diameter)
    return f"{shown} ({row.standard} {row.size})"


def _mm(length: float) -> str:
    return f"{length * 1e3:.1f} mm" if abs(length) >= 0.1 else f"{length * 1e3:.2f} mm"
