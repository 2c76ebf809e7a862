"""Pipe sizes against a library's tables and against values of the standards."""

from __future__ import annotations

import csv
from fractions import Fraction
from pathlib import Path

import fluids.piping as tables
import pytest

from compute.library.pipe_sizes import DN_BY_NPS, PipeSize, find_sizes, pipe_sizes, standard_walls

INCH = 0.0254
SCHEDULES = ("5", "10", "20", "30", "40", "60", "80", "100", "120", "160", "STD", "XS", "XXS")


def asme(size: str, schedule: str) -> PipeSize:
    [row] = find_sizes(size, schedule, "ASME B36.10M")
    return row


@pytest.mark.parametrize(
    ("size", "schedule", "outer_in", "wall_in"),
    [
        # ASME B36.10M, inch columns (from memory; the two named in every handbook first).
        ("NPS 6", "40", 6.625, 0.280),
        ("NPS 12", "40", 12.75, 0.406),
        ("NPS 8", "40", 8.625, 0.322),
        ("NPS 8", "80", 8.625, 0.500),
        ("NPS 2 1/2", "40", 2.875, 0.203),
        ("NPS 24", "STD", 24.0, 0.375),
        ("NPS 1 1/2", "XXS", 1.9, 0.400),
    ],
)
def test_inch_dimensions_are_exact_in_inches(
    size: str, schedule: str, outer_in: float, wall_in: float
) -> None:
    row = asme(size, schedule)
    assert row.outer_diameter / INCH == pytest.approx(outer_in, abs=1e-12)
    assert row.wall_thickness is not None
    assert row.wall_thickness / INCH == pytest.approx(wall_in, abs=1e-12)


@pytest.mark.parametrize("schedule", SCHEDULES)
def test_every_size_of_a_schedule_agrees_with_the_library_within_its_rounding(schedule: str) -> None:
    # fluids.piping.nearest_pipe looks sizes up in its own copy of ASME B36.10M, in rounded millimetres.
    rows = [
        row for row in pipe_sizes() if row.standard == "ASME B36.10M" and row.schedule == f"Sch {schedule}"
    ]
    assert rows
    for row in rows:
        nominal = float(sum(Fraction(part) for part in row.size.removeprefix("NPS ").split()))
        _, _, outer, wall = tables.nearest_pipe(NPS=nominal, schedule=schedule)
        assert row.outer_diameter == pytest.approx(outer, abs=0.55e-3), row.size
        assert row.wall_thickness == pytest.approx(wall, abs=0.02e-3), row.size


@pytest.mark.parametrize(
    ("standard", "size", "schedule", "outer_mm", "wall_mm"),
    [
        ("EN 10220", "DN 65", "normal", 76.1, 2.9),
        ("EN 10220", "DN 200", "normal", 219.1, 6.3),
        ("ISO 4427", "OD 110", "SDR 11", 110.0, 10.0),
        ("ISO 2531", "DN 200", "K9", 222.0, 6.3),
        ("EN 10255 medium", "DN 150", "medium", 165.1, 5.0),
    ],
)
def test_metric_dimensions_are_those_of_their_standards(
    standard: str, size: str, schedule: str, outer_mm: float, wall_mm: float
) -> None:
    # Figures of the standards named, from memory, apart from the table they were looked up in.
    [row] = find_sizes(size, schedule, standard)
    assert row.outer_diameter == pytest.approx(outer_mm / 1000, abs=1e-9)
    assert row.wall_thickness == pytest.approx(wall_mm / 1000, abs=1e-9)


def test_polyethylene_walls_follow_from_their_standard_dimension_ratio() -> None:
    # ISO 4427 by way of ISO 161-1 and ISO 4065: OD / SDR to a tenth of a millimetre; the series behind "17" is 16.9.
    for row in (row for row in pipe_sizes() if row.standard == "ISO 4427" and row.wall_thickness):
        ratio = float(row.schedule.removeprefix("SDR "))
        assert row.wall_thickness == pytest.approx(row.outer_diameter / ratio, rel=0.012, abs=0.25e-3), (
            row.size,
            row.schedule,
        )


def test_the_same_nominal_size_differs_between_standards_where_the_trade_knows_it_does() -> None:
    outer = {row.standard: row.outer_diameter for row in find_sizes("DN 125")}
    assert outer["EN 10220"] == pytest.approx(0.1397)
    assert outer["ASME B36.10M"] == pytest.approx(0.1413, abs=1e-4)
    assert DN_BY_NPS["5"] == 125


def test_a_size_of_en_10220_is_offered_with_the_walls_it_is_made_in() -> None:
    walls = standard_walls(0.2191, 1e-4)
    assert any(abs(wall - 0.008) < 1e-9 for wall in walls)


def test_outer_diameters_of_ductile_iron_agree_between_two_tables() -> None:
    # A pipe network program's table of ductile iron pipes against ISO 2531; the walls are of other classes.
    path = Path(__file__).parents[2] / "fixtures" / "published" / "ductile_iron.csv"
    ours = {row.size: row.outer_diameter for row in pipe_sizes() if row.standard == "ISO 2531"}
    theirs = {row["size"]: row for row in csv.DictReader(path.read_text(encoding="utf-8").splitlines())}
    shared = ours.keys() & theirs.keys()
    assert len(shared) >= 10
    for size in shared:
        assert ours[size] == pytest.approx(float(theirs[size]["outer_diameter_mm"]) / 1000, abs=0.6e-3), size


def test_plastic_pipe_of_the_iron_pipe_sizes_has_the_outer_diameters_of_steel_pipe() -> None:
    # ASTM D1785 and F441 take over the outer diameters of ASME B36.10M; the tables came from different sources.
    steel = {row.size: row.outer_diameter for row in pipe_sizes() if row.standard == "ASME B36.10M"}
    plastic = [row for row in pipe_sizes() if row.standard in ("ASTM D1785", "ASTM F441")]
    assert len(plastic) > 60
    for row in plastic:
        if row.size in steel:
            assert row.outer_diameter == pytest.approx(steel[row.size], abs=1e-12), row.size


def test_every_table_drawn_up_in_inches_is_kept_in_inches() -> None:
    inch = [row for row in pipe_sizes() if row.standard.startswith(("ASME", "AWWA", "ASTM D", "ASTM F"))]
    assert {row.unit for row in inch} == {"in"}
