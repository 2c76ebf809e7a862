"""Wall-thickness wall measurement."""

from __future__ import annotations

from math import hypot, sqrt

import pytest

from compute.base.errors import NotEnough, OutOfRange
from compute.measuring.wall import WALL_CHECKS, Wall, wall_from_readings

READINGS = (0.00802, 0.00798, 0.00800, 0.00804)


def wall(
    readings: tuple[float, ...] = READINGS, set_to: float | None = None, of_wall: float | None = None
) -> Wall:
    return wall_from_readings(
        readings,
        gauge_uncertainty=5e-5,
        gauge_velocity_setting=set_to,
        wall_sound_speed=of_wall,
        wall_sound_speed_uncertainty=0.005,
    )


def test_mean_spread_and_uncertainty_by_hand() -> None:
    found = wall()
    # Mean 8.01 mm; deviations 1, -3, -1, 3 (hundredths): s = sqrt(20/3) = 2.582 hundredths of a millimetre.
    assert found.mean == pytest.approx(8.01e-3)
    assert found.standard_deviation == pytest.approx(2.582e-5, rel=1e-3)
    expected = hypot(2.582e-5 / sqrt(4), 5e-5, 0.005 * 8.01e-3)
    assert found.standard_uncertainty == pytest.approx(expected, rel=1e-3)


def test_more_readings_do_not_reduce_the_uncertainty_of_the_gauge_itself() -> None:
    many = wall(READINGS * 100)
    assert many.standard_uncertainty > hypot(5e-5, 0.005 * 8.01e-3) * 0.999


def test_a_gauge_set_to_steel_reads_a_copper_wall_too_thick_and_is_corrected() -> None:
    # 2.00 mm of copper at 4760 m/s takes 0.8403 us; a gauge set to 5960 m/s shows 2.504 mm.
    shown = 2.00e-3 / 4760 * 5960
    found = wall((shown, shown), set_to=5960.0, of_wall=4760.0)
    assert found.mean == pytest.approx(2.00e-3, rel=1e-12)
    assert found.correction_factor == pytest.approx(4760 / 5960)


def test_a_worn_pipe_shows_in_readings_that_differ_round_it() -> None:
    assert wall((0.0080, 0.0079, 0.0066, 0.0071)).uneven
    assert not wall().uneven
    assert [finding.code for finding in WALL_CHECKS.findings(wall((0.0080, 0.0079, 0.0066, 0.0071)))] == [
        "wall-thickness-uneven"
    ]
    assert WALL_CHECKS.findings(wall()) == []


@pytest.mark.parametrize(
    ("readings", "set_to", "of_wall", "error"),
    [
        ((0.008,), None, None, NotEnough),
        ((0.008, -0.008), None, None, OutOfRange),
        (READINGS, 5960.0, None, NotEnough),
        (READINGS, 5.96, 4760.0, OutOfRange),
    ],
)
def test_impossible_values_are_rejected(
    readings: tuple[float, ...], set_to: float | None, of_wall: float | None, error: type[Exception]
) -> None:
    with pytest.raises(error):
        wall(readings, set_to, of_wall)


def test_two_readings_alone_have_one_degree_of_freedom() -> None:
    found = wall_from_readings(
        (0.0079, 0.0081),
        gauge_uncertainty=0.0,
        gauge_velocity_setting=None,
        wall_sound_speed=None,
        wall_sound_speed_uncertainty=0.0,
    )
    assert found.degrees_of_freedom == pytest.approx(1)


def test_the_contributions_all_readings_share_add_to_the_degrees_of_freedom() -> None:
    # By hand: s of the mean 1.291e-5, shared 6.409e-5, together 6.538e-5; 3 x (6.538/1.291)^4 = 1973.
    found = wall()
    assert found.degrees_of_freedom == pytest.approx(3 * (6.538 / 1.291) ** 4, rel=5e-3)
