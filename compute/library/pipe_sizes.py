"""Pipe sizes by standard: look-up by size and schedule, and back from dimensions to sizes."""

from __future__ import annotations

import csv
import difflib
import re
from collections.abc import Callable
from dataclasses import dataclass
from fractions import Fraction
from functools import cache
from importlib.resources import files

from compute.base.errors import UnknownName
from compute.base.memoization import memoized
from compute.base.sources import Source, provenance_named

METRES = {"mm": Fraction(1, 1000), "in": Fraction(254, 10_000)}
# Nominal sizes that go by both names (ASME B36.10M, ISO 6708; from memory).
DN_BY_NPS = {
    "1/8": 6, "1/4": 8, "3/8": 10, "1/2": 15, "3/4": 20, "1": 25, "1 1/4": 32, "1 1/2": 40, "2": 50, "2 1/2": 65, "3": 80,
    "3 1/2": 90, "4": 100, "5": 125, "6": 150, "8": 200, "10": 250, "12": 300, "14": 350, "16": 400, "18": 450, "20": 500,
    "22": 550, "24": 600, "26": 650, "28": 700, "30": 750, "32": 800, "34": 850, "36": 900, "42": 1050, "48": 1200,
    "54": 1350, "60": 1500, "64": 1600,
}  # fmt: skip
# Wall thicknesses EN 10220 makes its tubes in [mm]; which of them are made for a diameter differs. From memory.
EN_10220_WALLS_MM = """
    1.6 1.8 2.0 2.3 2.6 2.9 3.2 3.6 4.0 4.5 5.0 5.4 5.6 6.3 7.1 8.0 8.8 10.0 11.0 12.5 14.2 16.0 17.5 20.0 22.2 25.0 28.0
    30.0 32.0 36.0 40.0"""
EN_10220_WALLS_M = tuple(float(wall) / 1000 for wall in EN_10220_WALLS_MM.split())
# Standards of the pipes made of a material; a material not listed may be any.
_STEEL = ("ASME B36.10M", "ASME B36.19M", "EN 10220", "EN 10255 medium")
_IRON = ("EN 545:2010", "ISO 2531", "AWWA C151")
_COPPER = ("ASTM B88", "ASTM B88M", "EN 1057")
_PVC = ("ASTM D1785", "ASTM F441", "AWWA C900")
STANDARDS_BY_MATERIAL = {
    "carbon-steel": _STEEL,
    "galvanised-steel": _STEEL,
    "stainless-steel-304": _STEEL,
    "stainless-steel-316": _STEEL,
    "stainless-steel-347": _STEEL,
    "ductile-iron": _IRON,
    "copper": _COPPER,
    "copper-rolled": _COPPER,
    "pvc-u": _PVC,
    "cpvc": _PVC,
    "hdpe": ("ISO 4427",),
}


@dataclass(frozen=True, slots=True)
class PipeSize:
    """A row of a standard's table: dimensions [m]; no wall where the standard offers several."""

    standard: str
    size: str
    schedule: str
    outer_diameter: float
    wall_thickness: float | None
    unit: str
    source: Source
    note: str = ""

    @property
    def bore(self) -> float | None:
        """Inner diameter [m] before any lining."""
        return None if self.wall_thickness is None else self.outer_diameter - 2 * self.wall_thickness

    @property
    def dn(self) -> int | None:
        """The DN number, if the size has one."""
        if self.size.startswith("DN "):
            return int(self.size[3:])
        return DN_BY_NPS.get(self.size[4:]) if self.size.startswith("NPS ") else None


@cache
def pipe_sizes() -> tuple[PipeSize, ...]:
    """Every row of every table.

    Source
    ------
    tables : each row carries its own.
    """
    text = (files("compute.library.data") / "pipes.csv").read_text(encoding="utf-8")
    return tuple(_row(row) for row in csv.DictReader(text.splitlines()))


def find_sizes(size: str = "", schedule: str = "", standard: str = "") -> tuple[PipeSize, ...]:
    """Return the rows of a size, a schedule or series, and a standard; an empty text matches all.

    "NPS 8", "nps8", "DN 200" (also finds NPS 8), "2 1/2 in", "OD 110"; "40", "Sch 40", "SDR 11".

    Parameters
    ----------
    size : str
    schedule : str
    standard : str

    Returns
    -------
    rows : tuple of PipeSize

    Raises
    ------
    UnknownName  no table has that size, schedule or standard; carries the nearest names

    Source
    ------
    tables : each row carries its own.
    """
    rows = pipe_sizes()
    if standard:
        rows = _matching(rows, "standard", standard, lambda row: {row.standard})
    if size:
        rows = _matching(rows, "size", size, _size_names)
    if schedule:
        rows = _matching(rows, "schedule", schedule, _schedule_names)
    return rows


@memoized
def sizes_by_outer_diameter(
    outer_diameter: float, tolerance: float, material: str = ""
) -> tuple[PipeSize, ...]:
    """Rows whose outer diameter is that near.

    Parameters
    ----------
    outer_diameter : float [m]
    tolerance : float [m]
    material : str  slug; leaves out standards of other materials

    Returns
    -------
    rows : tuple of PipeSize  nearest first

    Source
    ------
    tables : each row carries its own.
    """
    near = [row for row in _made_of(material) if abs(row.outer_diameter - outer_diameter) <= tolerance]
    return tuple(sorted(near, key=lambda row: abs(row.outer_diameter - outer_diameter)))


@memoized
def standard_walls(outer_diameter: float, tolerance: float, material: str = "") -> tuple[float, ...]:
    """Wall thicknesses that standards list for an outer diameter, EN 10220's preferred series among them.

    Parameters
    ----------
    outer_diameter : float [m]
    tolerance : float [m]
    material : str  slug; leaves out standards of other materials

    Returns
    -------
    walls : tuple of float [m]  ascending; empty if no standard has that diameter

    Source
    ------
    tables : each row carries its own; the series of EN 10220 from memory.
    """
    rows = sizes_by_outer_diameter(outer_diameter, tolerance, material)
    walls = {row.wall_thickness for row in rows if row.wall_thickness is not None}
    if any(row.standard == "EN 10220" for row in rows):
        walls |= {wall for wall in EN_10220_WALLS_M if wall < outer_diameter / 4}
    return tuple(sorted(walls))


def sizes_by_nominal_number(number: Fraction, unit: str, material: str = "") -> tuple[PipeSize, ...]:
    """Rows whose nominal size is that number: 8 in is NPS 8, 200 mm is DN 200.

    Parameters
    ----------
    number : Fraction [unit]
    unit : str  `in` for NPS, `mm` for DN
    material : str  slug; leaves out standards of other materials

    Returns
    -------
    rows : tuple of PipeSize

    Source
    ------
    tables : each row carries its own.
    """
    if unit == "in":
        names = {f"NPS {_mixed(number)}"}
        return tuple(row for row in _made_of(material) if row.size in names)
    return tuple(row for row in _made_of(material) if row.dn == number)


@memoized
def _made_of(material: str) -> tuple[PipeSize, ...]:
    standards = STANDARDS_BY_MATERIAL.get(material)
    return (
        pipe_sizes() if standards is None else tuple(row for row in pipe_sizes() if row.standard in standards)
    )


def _row(row: dict[str, str]) -> PipeSize:
    scale = METRES[row["unit"]]
    wall = row["wall_thickness"]
    return PipeSize(
        standard=row["standard"],
        size=row["size"],
        schedule=row["schedule"],
        outer_diameter=float(Fraction(row["outer_diameter"]) * scale),
        wall_thickness=float(Fraction(wall) * scale) if wall else None,
        unit=row["unit"],
        source=Source(row["source"], provenance_named(row["provenance"])),
        note=row["note"],
    )


def _matching(
    rows: tuple[PipeSize, ...], what: str, wanted: str, names_of: Callable[[PipeSize], set[str]]
) -> tuple[PipeSize, ...]:
    key = _key(wanted)
    found = tuple(row for row in rows if key in {_key(name) for name in names_of(row)})
    if not found:
        known = sorted({name for row in rows for name in names_of(row) if name})
        near = tuple(difflib.get_close_matches(wanted[:40], known, n=5, cutoff=0.4))
        raise UnknownName(field=what, variant="pipe-size", suggestions=near, name=wanted[:40])
    return found


def _size_names(row: PipeSize) -> set[str]:
    names = {row.size}
    if row.size.startswith("NPS "):
        names.add(f"{row.size[4:]} in")
    if row.dn is not None:
        names.add(f"DN {row.dn}")
    return names


def _schedule_names(row: PipeSize) -> set[str]:
    return {row.schedule, row.schedule.removeprefix("Sch ")}


def _key(name: str) -> str:
    """One spelling for what people write: no case, no spaces, decimals as fractions."""
    text = re.sub(r"\b(\d{1,3})\.(\d{1,3})\b(?! ?mm)", lambda m: _mixed(Fraction(m[0])), name.strip().lower())
    text = re.sub(r"(?<=\d)[-\s]+(?=\d+/)", "+", text)
    return re.sub(r"[\s_]+", "", re.sub(r"^(nps|dn|od|sch|sdr|dr)\.?\s*", r"\1", text)).replace(
        "schedule", "sch"
    )


def _mixed(number: Fraction) -> str:
    whole, part = divmod(number, 1)
    return f"{whole} {part}" if part and whole else str(part or whole)
