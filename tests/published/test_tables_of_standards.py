"""Values of the pipe and material tables against standards (from memory), their design equations and a reference library.

The `verification` column of the data files refers to these comparisons.
"""

from __future__ import annotations

import pytest
from fluids import friction

from compute.library.materials import solid
from compute.library.pipe_sizes import PipeSize, pipe_sizes

INCH = 0.0254


def rows_of(standard: str) -> list[PipeSize]:
    return [row for row in pipe_sizes() if row.standard == standard and row.wall_thickness is not None]


def walls_in_inches(standard: str, schedule: str) -> list[float]:
    return [
        round((row.wall_thickness or 0) / INCH, 4) for row in rows_of(standard) if row.schedule == schedule
    ]


@pytest.mark.parametrize(
    ("schedule", "walls"),
    [
        # ASTM B88 table 1 (from memory), 1/4 in to 6 in; type M begins at 3/8 in and has no 5/8 in.
        ("Type K", [0.035, 0.049, 0.049, 0.049, 0.065, 0.065, 0.065, 0.072, 0.083, 0.095, 0.109, 0.120, 0.134, 0.160, 0.192]),
        ("Type L", [0.030, 0.035, 0.040, 0.042, 0.045, 0.050, 0.055, 0.060, 0.070, 0.080, 0.090, 0.100, 0.110, 0.125, 0.140]),
        ("Type M", [0.025, 0.028, 0.032, 0.035, 0.042, 0.049, 0.058, 0.065, 0.072, 0.083, 0.095, 0.109, 0.122]),
    ],
)  # fmt: skip
def test_copper_tube_has_the_walls_of_astm_b88(schedule: str, walls: list[float]) -> None:
    assert sorted(walls_in_inches("ASTM B88", schedule)) == walls


@pytest.mark.parametrize(
    ("schedule", "walls"),
    [
        # AWWA C151 (from memory): pressure class 350 from 3 in to 64 in, special thickness class 52 from 4 in to 54 in.
        ("PC 350", [0.25, 0.25, 0.25, 0.25, 0.26, 0.28, 0.31, 0.34, 0.36, 0.38, 0.43, 0.49, 0.56, 0.63, 0.70, 0.79, 0.83, 0.87]),
        ("special class 52", [0.29, 0.31, 0.33, 0.35, 0.37, 0.39, 0.40, 0.41, 0.42, 0.44, 0.47, 0.53, 0.59, 0.65, 0.73]),
    ],
)  # fmt: skip
def test_ductile_iron_pipe_has_the_walls_of_awwa_c151(schedule: str, walls: list[float]) -> None:
    assert sorted(walls_in_inches("AWWA C151", schedule)) == walls


def test_walls_of_pressure_classes_follow_the_design_equation_of_en_545() -> None:
    # EN 545:2010 (from memory): e = p D S / (20 R + p S), p the class in bar, S = 3, R = 420 MPa; small pipes have a minimum instead,
    # at most 5 mm.
    for row in rows_of("EN 545:2010"):
        assert row.wall_thickness is not None
        pressure = float(row.schedule.removeprefix("C"))
        equation = pressure * row.outer_diameter * 3 / (20 * 420 + pressure * 3)
        assert row.wall_thickness > equation - 0.06e-3, (row.size, row.schedule)
        if row.wall_thickness > 5.01e-3:
            assert row.wall_thickness == pytest.approx(equation, abs=0.06e-3), (row.size, row.schedule)


def test_walls_of_class_k9_follow_from_the_nominal_size() -> None:
    # ISO 2531 (from memory): e = K (0.5 + 0.001 DN) with K = 9, at least 6 mm.
    for row in rows_of("ISO 2531"):
        nominal = float(row.size.removeprefix("DN "))
        assert row.wall_thickness == pytest.approx(
            max(6.0, 9 * (0.5 + 0.001 * nominal)) * 1e-3, abs=0.06e-3
        ), row.size


def test_walls_of_awwa_c900_are_the_outer_diameter_over_the_dimension_ratio() -> None:
    for row in rows_of("AWWA C900"):
        ratio = float(row.schedule.removeprefix("DR "))
        assert row.wall_thickness == pytest.approx(row.outer_diameter / ratio, abs=0.0006 * INCH), row.size


def test_metric_copper_tube_walls_are_near_the_walls_in_inches() -> None:
    # ASTM B88M was not available: types A, B and C of these sizes correspond to K, L and M of ASTM B88.
    sizes = {
        "1/2 in": "15 mm",
        "3/4 in": "22 mm",
        "1 in": "28 mm",
        "2 in": "54 mm",
        "3 in": "79 mm",
        "6 in": "156 mm",
    }
    metric = {(row.size, row.schedule): row.wall_thickness for row in rows_of("ASTM B88M")}
    inch = {(row.size, row.schedule): row.wall_thickness for row in rows_of("ASTM B88")}
    for ours, theirs in sizes.items():
        for kind, of_metric in zip("KLM", "ABC", strict=True):
            expected = inch[ours, f"Type {kind}"]
            assert metric[theirs, f"Type {of_metric}"] == pytest.approx(expected, abs=0.1e-3), (ours, kind)


@pytest.mark.parametrize(
    ("material", "entry"),
    [
        # Moody 1944 as the library has it, converted from feet.
        ("cast-iron", "Cast iron"), ("galvanised-steel", "Galvanized iron"), ("concrete", "Concrete"), ("brass", "Brass"),
    ],
)  # fmt: skip
def test_a_roughness_after_moody_is_that_of_the_library(material: str, entry: str) -> None:
    assert solid(material).roughness == pytest.approx(friction._roughness[entry], rel=0.02)


@pytest.mark.parametrize(
    ("material", "entry"),
    [
        # Idelchik's handbook as the library has it.
        ("carbon-steel", "Seamless steel tubes, New and unused"),
        ("borosilicate-glass", "Glass tubes, Glass"),
        ("copper", "Seamless tubes made from brass, copper, lead, aluminum, Commercially smooth"),
        ("asbestos-cement", "Asbestos cement tubes, New"),
    ],
)
def test_a_roughness_after_idelchik_lies_in_the_range_of_the_library(material: str, entry: str) -> None:
    low, high, _ = friction.HHR_roughness[entry]
    roughness = solid(material).roughness
    assert roughness is not None
    assert low <= roughness <= high
