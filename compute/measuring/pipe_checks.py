"""Plausibility checks of a pipe as entered. Each returns its findings, often none."""

from __future__ import annotations

from fractions import Fraction

from compute.base.messages import Finding, finding, quantity
from compute.base.sources import PRACTICE, Source
from compute.library.pipe_sizes import (
    PipeSize,
    sizes_by_nominal_number,
    sizes_by_outer_diameter,
    standard_walls,
)

# Limits of common practice, without a source.
# Tube is drawn to about 1 % of the outer diameter (EN 10217, from memory); a tape measures to better than half of that.
OUTER_DIAMETER_TOLERANCE = 0.005
WALL_TOLERANCE = 0.0002
THICK_WALL_RATIO = 0.25

MILL_TOLERANCE_RELATIVE = 0.125
MILL_TOLERANCE = Source("ASTM A530/A106, API 5L: wall up to 12.5 % under nominal", "unverified")
TABLES = Source("pipe dimension tables of the library, each row with its source", "derived")


def nominal_size_as_outer_diameter(outer_diameter: float, material: str = "") -> list[Finding]:
    """Detect a whole number of inches or a DN number entered as the actual outer diameter.

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
    for number, unit in _nominal_numbers(outer_diameter):
        rows = [row for row in sizes_by_nominal_number(number, unit, material) if row.size not in true_sizes]
        if rows:
            return [
                _nominal(outer_diameter, f"DN {number}" if unit == "mm" else rows[0].size, rows, true_sizes)
            ]
    return []


def _nominal(outer_diameter: float, nominal: str, rows: list[PipeSize], true_sizes: set[str]) -> Finding:
    key = "nominal-size-or-outer-diameter" if true_sizes else "nominal-size-as-outer-diameter"
    return finding(
        key,
        "info" if true_sizes else "warning",
        "pipe.outer_diameter",
        source=rows[0].source,
        entered=quantity(outer_diameter, "length"),
        nominal=nominal,
        actual=[quantity(one, "length") for one in _distinct(rows)],
        sizes=sorted({f"{row.standard} {row.size}" for row in rows}),
        true_sizes=sorted(true_sizes),
    )


def _nominal_numbers(outer_diameter: float) -> list[tuple[Fraction, str]]:
    """Return whole (or half, quarter) inches and whole millimetres equal to the diameter."""
    numbers = []
    quarters = outer_diameter / 0.0254 * 4
    if abs(quarters - round(quarters)) < 1e-6:
        numbers.append((Fraction(round(quarters), 4), "in"))
    millimetres = outer_diameter * 1000
    if abs(millimetres - round(millimetres)) < 1e-6:
        numbers.append((Fraction(round(millimetres)), "mm"))
    return numbers


def _distinct(rows: list[PipeSize]) -> list[float]:
    """Return outer diameters that differ by 0.1 mm; that of a table in inches replaces the metric one, as it is exact in both units."""
    by_tenths = {
        round(row.outer_diameter * 1e4): row.outer_diameter
        for row in sorted(rows, key=lambda row: row.unit == "in")
    }
    return sorted(by_tenths.values())


def dimensions_in_tables(outer_diameter: float, wall_thickness: float, material: str = "") -> list[Finding]:
    """Detect an outer diameter or a wall that no standard in the tables has, and a wall too thick for a pipe.

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
    walls = standard_walls(outer_diameter, tolerance, material)
    listed = any(abs(wall - wall_thickness) <= WALL_TOLERANCE for wall in walls)
    if not listed and wall_thickness > THICK_WALL_RATIO * outer_diameter / 2:
        findings.append(
            finding(
                "wall-very-thick",
                "warning",
                "pipe.wall_thickness",
                wall=quantity(wall_thickness, "length"),
                outer_diameter=quantity(outer_diameter, "length"),
                limit=quantity(THICK_WALL_RATIO * outer_diameter / 2, "length"),
            )
        )
    if not sizes_by_outer_diameter(outer_diameter, tolerance, material):
        elsewhere = {f"{row.standard} {row.size}" for row in sizes_by_outer_diameter(outer_diameter, 1e-5)}
        findings.append(
            finding(
                "outer-diameter-not-in-tables",
                "info",
                "pipe.outer_diameter",
                source=TABLES,
                outer_diameter=quantity(outer_diameter, "length"),
                other_sizes=sorted(elsewhere) or None,
            )
        )
        return findings
    if walls and not listed:
        nearest = min(walls, key=lambda wall: abs(wall - wall_thickness))
        findings.append(
            finding(
                "wall-not-in-tables",
                "info",
                "pipe.wall_thickness",
                source=TABLES,
                wall=quantity(wall_thickness, "length"),
                outer_diameter=quantity(outer_diameter, "length"),
                nearest=quantity(nearest, "length"),
            )
        )
    return findings


def wall_against_measurement(wall_thickness: float, measured: float | None) -> list[Finding]:
    """Compare the wall thickness entered with the measured one.

    Parameters
    ----------
    wall_thickness : float [m]  as entered
    measured : float or None [m]  mean of a wall measurement; None if there was none

    Returns
    -------
    findings : list of Finding

    Source
    ------
    tolerance : ASTM A530/A106 and API 5L mill tolerance, from memory.
    """
    wall = quantity(wall_thickness, "length")
    if measured is None:
        return [finding("wall-not-measured", "info", "pipe.wall_thickness", wall=wall)]
    if abs(wall_thickness - measured) > MILL_TOLERANCE_RELATIVE * wall_thickness:
        return [
            finding(
                "wall-differs-from-measurement",
                "warning",
                "pipe.wall_thickness",
                source=MILL_TOLERANCE,
                wall=wall,
                measured=quantity(measured, "length"),
                tolerance=MILL_TOLERANCE_RELATIVE,
            )
        ]
    return []


def roughness_assumed(roughness: float, material: str, source: Source | None) -> list[Finding]:
    """Report that the roughness of the library is used.

    Parameters
    ----------
    roughness : float [m]
    material : str  title of the wetted material; empty for one that is not of the library
    source : Source or None

    Returns
    -------
    findings : list of Finding

    Source
    ------
    library : of the material.
    """
    return [
        finding(
            "roughness-assumed",
            "info",
            "pipe.roughness",
            source=source or PRACTICE,
            roughness=quantity(roughness, "roughness"),
            material=material or None,
        )
    ]
