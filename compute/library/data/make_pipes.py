"""Bring raw dimension tables into the form of pipes.csv: `python -m compute.library.data.make_pipes RAW.csv`.

RAW has the columns standard, designation, size, od_mm, wall_mm, source, provenance, note, verification. `source` names the
standard and its table; `verification` states how the values were checked, for maintainers only. Some tables of standards in
inches are available in rounded millimetres; the inch value is the only thousandth of an inch that rounds to them. Outer
diameters of ASME B36.10M and B36.19M are in the list below (inch column of the standards, from memory; each agrees with
the rounded millimetres).
"""

from __future__ import annotations

import csv
import re
import sys
from fractions import Fraction
from pathlib import Path

NPS_OUTER_DIAMETER_IN = {
    "0.125": "0.405", "0.25": "0.540", "0.375": "0.675", "0.5": "0.840", "0.75": "1.050", "1": "1.315", "1.25": "1.660",
    "1.5": "1.900", "2": "2.375", "2.5": "2.875", "3": "3.500", "3.5": "4.000", "4": "4.500", "5": "5.563", "6": "6.625",
    "8": "8.625", "10": "10.750", "12": "12.750", "14": "14", "16": "16", "18": "18", "20": "20", "22": "22", "24": "24",
    "26": "26", "28": "28", "30": "30", "32": "32", "34": "34", "36": "36", "42": "42", "48": "48",
}  # fmt: skip
# Walls whose tabulated millimetres are not their inches rounded: the standard's inch column, from memory.
WALLS_IN = {("ASME B36.10M", "NPS 1.5", "Sch XXS"): "0.400"}
NAMES = {
    "ASME B36.10M": "ASME B36.10M",
    "ASME B36.19M": "ASME B36.19M",
    "ASTM B88 copper": "ASTM B88",
    "ASTM B88M copper": "ASTM B88M",
    "ASTM D1785 PVC": "ASTM D1785",
    "ASTM F441 CPVC": "ASTM F441",
    "AWWA C151 ductile iron": "AWWA C151",
    "AWWA C900 PVC": "AWWA C900",
    "EN 10220 / ISO 4200 series 1": "EN 10220",
    "EN 10255 medium (M)": "EN 10255 medium",
    "EN 1057 copper": "EN 1057",
    "EN 545:2010 ductile iron": "EN 545:2010",
    "ISO 2531 / EN 545 ductile iron": "ISO 2531",
    "ISO 4427 / EN 12201 PE100": "ISO 4427",
}
IN_INCHES = ("ASME", "ASTM B88 ", "ASTM D1785", "ASTM F441", "AWWA")
COLUMNS = (
    "standard", "size", "schedule", "outer_diameter", "wall_thickness", "unit", "source", "provenance", "note", "verification",
)  # fmt: skip
RECOVERED = "inch value recovered from rounded millimetres"


def fraction_name(text: str) -> str:
    """2.5 -> 2 1/2."""
    whole, part = divmod(Fraction(text), 1)
    return (
        f"{whole} {part}".replace("0 ", "", 1)
        if part and whole == 0
        else f"{whole} {part}"
        if part
        else str(whole)
    )


def inches(mm: str, step: str, tolerance_mm: float) -> str | None:
    """The multiple of `step` inches that the millimetres stand for, or None if none is that near."""
    multiple = round(float(mm) / 25.4 / float(step)) * Fraction(step)
    return (
        f"{float(multiple):.4f}".rstrip("0").rstrip(".")
        if abs(float(multiple) * 25.4 - float(mm)) <= tolerance_mm
        else None
    )


def size_and_schedule(row: dict[str, str]) -> tuple[str, str]:
    """Names of the size and the schedule, series or wall, in one spelling."""
    size, schedule = row["size"], row["designation"].replace('"', "")
    if size.startswith("NPS "):
        size = f"NPS {fraction_name(size[4:])}"
    elif match := re.fullmatch(r"([\d.]+)x([\d.]+)", size):
        size, schedule = f"{match[1]} mm", f"{match[2]} mm"
    elif size.startswith("d"):
        size = f"OD {size[1:]}"
    elif size.isdigit() or re.fullmatch(r"[\d.]+", size):
        size = f"{size} mm"
    else:
        size = size.replace("-", " ")
    if schedule == "OD only":
        schedule = ""
    elif schedule.startswith("K9"):
        schedule = "K9"
    elif schedule.startswith("normal"):
        schedule = "normal"
    elif schedule == "DN100":
        schedule = "medium"
    return size, schedule.replace(" (minimum wall)", "") or ("medium" if "10255" in row["standard"] else "")


def tidy(row: dict[str, str]) -> list[str]:
    """One row of pipes.csv."""
    size, schedule = size_and_schedule(row)
    outer, wall, unit, verification = row["od_mm"], row["wall_mm"], "mm", row["verification"]
    if row["standard"].startswith(IN_INCHES):
        if row["standard"].startswith("ASME"):
            outer_in: str | None = NPS_OUTER_DIAMETER_IN[row["size"][4:]]
        else:
            coarse = row["standard"].startswith("AWWA C900")
            outer_in = inches(outer, "0.05" if coarse else "0.001", 0.06)
        stated = WALLS_IN.get((row["standard"], row["size"], row["designation"]))
        wall_in = stated or (inches(wall, "0.001", 0.0056) if wall else "")
        if outer_in is not None and wall_in is not None:
            outer, wall, unit = outer_in, wall_in, "in"
            verification = "; ".join(part for part in (verification, RECOVERED) if part)
        else:
            print("kept in millimetres:", row["standard"], size, schedule, outer, wall, file=sys.stderr)
    texts = [row["source"], row["provenance"], row["note"], verification]
    return [NAMES[row["standard"]], size, schedule, outer, wall, unit, *texts]


def main(raw: Path) -> None:
    """Write the pipe table from the raw one."""
    with raw.open(encoding="utf-8", newline="") as file:
        rows = [tidy(row) for row in csv.DictReader(file) if row["standard"] in NAMES]
    with (Path(__file__).parent / "pipes.csv").open("w", encoding="utf-8", newline="") as file:
        writer = csv.writer(file, lineterminator="\n")
        writer.writerow(COLUMNS)
        writer.writerows(rows)
    print(len(rows), "rows", file=sys.stderr)


if __name__ == "__main__":
    main(Path(sys.argv[1]))
