"""Sanity checks of a pipe as entered. Each returns the findings it has, often none."""

from __future__ import annotations

from fractions import Fraction

from compute.figures import millimetres, said
from compute.findings import Finding
from compute.marks import marked
from compute.pipes import PipeSize, sizes_by_outer_diameter, sizes_called, walls_made_for
from compute.sources import PRACTICE, Source

# Figures of trade custom without a source.
# Tube is drawn to about 1 % of the outer diameter (EN 10217, from memory); a tape reads better than half of that.
OUTER_DIAMETER_TOLERANCE = 0.005
WALL_TOLERANCE = 0.0002
THICK_WALL_RATIO = 0.25

MORE_WALL = marked(
    "1 mm of wall changes the flow of a 200 mm pipe", "0.04 in of wall changes the flow of an 8 in pipe"
)
MILL_TOLERANCE_RELATIVE = 0.125
MILL_TOLERANCE = Source("ASTM A530/A106, API 5L: wall up to 12.5 % under nominal", "unverified")
TABLES = Source("pipe dimension tables of the library, each row with its source", "derived")


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
        "info" if true_sizes else "warning",
        detail,
        "pipe.outer_diameter",
        outer_diameter,
        rows[0].outer_diameter,
        "length",
        rows[0].source,
    )


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
    shown = f"{row.outer_diameter / 0.0254:.3f} in" if row.unit == "in" else millimetres(row.outer_diameter)
    return f"{shown} ({row.standard} {row.size})"


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
            f"A wall of {millimetres(wall_thickness)} is thick for a pipe of {millimetres(outer_diameter)}; check that it is the wall and not a "
            "diameter or a number in other units."
        )
        limit = THICK_WALL_RATIO * outer_diameter / 2
        findings.append(
            Finding(
                "wall-very-thick", "warning", detail, "pipe.wall_thickness", wall_thickness, limit, "length"
            )
        )
    if not sizes_by_outer_diameter(outer_diameter, tolerance, material):
        elsewhere = sorted(
            {f"{row.standard} {row.size}" for row in sizes_by_outer_diameter(outer_diameter, 1e-5)}
        )
        detail = (
            f"No standard in the tables has an outer diameter of {millimetres(outer_diameter)}"
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
                "info",
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
            f"No standard in the tables has a wall of {millimetres(wall_thickness)} for {millimetres(outer_diameter)}; the nearest is "
            f"{millimetres(nearest)}. That is fine if you gauged it."
        )
        findings.append(
            Finding(
                "wall-not-in-tables",
                "info",
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
            f"The wall of {millimetres(wall_thickness)} was not gauged. {MORE_WALL} by about 2 %; gauge it "
            "at eight places round the pipe."
        )
        return [
            Finding("wall-not-measured", "info", detail, "pipe.wall_thickness", wall_thickness, kind="length")
        ]
    if abs(wall_thickness - gauged) > MILL_TOLERANCE_RELATIVE * wall_thickness:
        detail = (
            f"The wall is entered as {millimetres(wall_thickness)}, the gauge says {millimetres(gauged)}: more apart than the mill tolerance of "
            "12.5 %. Correct the pipe data, or gauge again with the gauge set to the pipe's material."
        )
        return [
            Finding(
                "wall-differs-from-measurement",
                "warning",
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
        f"No roughness was stated; {said(roughness, 'mm', '.3g')}, that of new {material}, is assumed. A rusted or scaled surface is "
        "rougher and lowers the profile factor, by about 1 % for ten times the roughness."
    )
    return [
        Finding(
            "roughness-assumed",
            "info",
            detail,
            "pipe.roughness",
            roughness,
            kind="roughness",
            source=source or PRACTICE,
        )
    ]
