"""Error curves: between their points, beyond them, and readings corrected by them."""

from __future__ import annotations

from math import hypot, sqrt

import numpy as np
import pytest
from hypothesis import given, reject
from hypothesis import strategies as st
from scipy.optimize import brentq

from compute.base.errors import NotEnough, NumberInvalid, OutOfRange
from compute.calibration.error_correction import (
    correction_at,
    true_from_indicated,
)
from compute.calibration.points import ErrorCurve, Point, error_curve

# A thickness gauge: +0.02 mm at 2 mm, +0.06 mm at 10 mm, U = 0.02 and 0.04 mm with k = 2.
GAUGE = error_curve(
    [Point(0.002, 0.00202, 2e-5, 2.0), Point(0.010, 0.01006, 4e-5, 2.0)], "absolute", "length"
)
# A meter: -2 % at 0.5 m/s, +1 % at 2 m/s, +0.5 % at 5 m/s, U = 0.5 % of the reading with k = 2.
METER = error_curve(
    [Point(v, v * (1 + e), v * 0.005, 2.0) for v, e in ((0.5, -0.02), (2.0, 0.01), (5.0, 0.005))],
    "relative",
    "speed",
)


@st.composite
def curves(draw: st.DrawFn) -> ErrorCurve:
    form = draw(st.sampled_from(["absolute", "relative"]))
    steps = draw(st.lists(st.floats(0.5, 3.0), min_size=2, max_size=6))
    shares = draw(st.lists(st.floats(-0.05, 0.05), min_size=len(steps), max_size=len(steps)))
    points = []
    for at, share in zip(np.cumsum(steps).tolist(), shares, strict=True):
        size = at if form == "relative" else 1.0
        points.append(Point(at, at + share * size, 0.01 * size, 2.0))
    try:
        return error_curve(points, form, "speed")  # type: ignore[arg-type]
    except OutOfRange:
        # Far from 0 a share of the value may be more than the step to the next: rightly refused, and no curve.
        reject()


def test_error_is_indicated_less_reference() -> None:
    point = Point(20.0, 20.3, 0.1, 2.5)
    assert point.error == pytest.approx(0.3)
    assert point.standard_uncertainty == pytest.approx(0.04)
    assert point.in_form("relative") == pytest.approx((0.015, 0.002))


def test_between_two_points_error_and_uncertainty_lie_on_straight_lines() -> None:
    # A quarter of the way: 0.02 + 0.25 x 0.04 = 0.03 mm; u from 0.01 to 0.02 mm: 0.0125 mm.
    error, uncertainty, findings = correction_at(GAUGE, 0.004)
    assert error == pytest.approx(3e-5)
    assert uncertainty == pytest.approx(1.25e-5)
    assert findings == ()


def test_the_curve_is_nowhere_surer_than_the_better_of_its_neighbouring_points() -> None:
    _, uncertainties, _ = correction_at(GAUGE, np.linspace(0.002, 0.010, 101))
    assert np.min(uncertainties) >= 1e-5 * (1 - 1e-12)


def test_beyond_the_last_point_its_error_is_used_with_a_larger_uncertainty_and_a_finding() -> None:
    error, uncertainty, findings = correction_at(GAUGE, 0.012)
    assert error == pytest.approx(6e-5)
    # Spread of the errors 0.04 mm over 8 mm; 2 mm beyond: 0.01 mm as a rectangle, with u = 0.02 mm.
    assert uncertainty == pytest.approx(hypot(2e-5, 1e-5 / sqrt(3)))
    assert [(finding.code, finding.severity) for finding in findings] == [
        ("outside-calibrated-range", "warning")
    ]
    assert findings[0].message is not None
    assert findings[0].message.parameters["high"] == {"si": 0.01, "kind": "length"}


def test_a_constant_error_is_widened_beyond_the_points_by_its_own_uncertainty() -> None:
    flat = error_curve([Point(1.0, 1.1, 0.02, 2.0), Point(3.0, 3.1, 0.02, 2.0)], "absolute", "length")
    _, uncertainty, _ = correction_at(flat, 5.0)
    # One span beyond: expanded uncertainty 0.02 as a half-width.
    assert uncertainty == pytest.approx(hypot(0.01, 0.02 / sqrt(3)))


def test_below_its_minimum_velocity_a_meter_has_a_zero_error_also_at_zero_flow() -> None:
    at_rest = true_from_indicated(METER, 0.0)
    # Error of 2 % at 0.5 m/s is 0.01 m/s; as a rectangle.
    assert at_rest.value == 0.0
    assert at_rest.standard_uncertainty == pytest.approx(0.01 / sqrt(3))
    _, relative, _ = correction_at(METER, 0.25)
    # Half the velocity: 0.25 % of 0.25 m/s held, and 0.02 x 0.25 m/s as a rectangle, both over 0.25 m/s.
    assert relative == pytest.approx(hypot(0.0025, 0.02 / sqrt(3)))


def test_a_corrected_reading_agrees_with_root_finding() -> None:
    # brentq of scipy on indicated = v (1 + error(v)), with the line from -2 % at 0.5 to +1 % at 2 m/s written out.
    expected = brentq(lambda v: v * (1 - 0.02 + 0.03 * (v - 0.5) / 1.5) - 1.2, 0.5, 2.0, xtol=1e-15)
    assert true_from_indicated(METER, 1.2).value == pytest.approx(expected, rel=1e-12)


def test_a_meter_in_reverse_flow_is_corrected_by_the_size_of_the_velocity() -> None:
    forward, back = true_from_indicated(METER, 1.2), true_from_indicated(METER, -1.2)
    assert back.value == -forward.value
    assert back.error == -forward.error
    assert back.standard_uncertainty == forward.standard_uncertainty


@given(curves(), st.lists(st.floats(0.05, 30.0), min_size=1, max_size=20))
def test_there_and_back_within_the_points_and_beyond(curve: ErrorCurve, true: list[float]) -> None:
    error, _, _ = correction_at(curve, np.array(true))
    shown = np.array(true) * (1 + error) if curve.form == "relative" else np.array(true) + error
    corrected = true_from_indicated(curve, shown)
    assert corrected.value == pytest.approx(true, rel=1e-9)
    assert corrected.value + corrected.error == pytest.approx(shown, rel=1e-12)


@given(curves(), st.floats(0.1, 25.0))
def test_one_reading_and_many_agree(curve: ErrorCurve, reading: float) -> None:
    one, many = true_from_indicated(curve, reading), true_from_indicated(curve, np.array([reading, 1.0]))
    assert isinstance(one.value, float)
    assert one.value == many.value[0]  # type: ignore[index]
    assert one.standard_uncertainty == many.standard_uncertainty[0]  # type: ignore[index]


@given(curves(), st.floats(0.1, 25.0), st.sampled_from([1e-3, 0.3048, 1e3]))
def test_a_correction_does_not_hang_on_the_unit(curve: ErrorCurve, reading: float, unit: float) -> None:
    scale = 1.0 if curve.form == "relative" else unit
    other = ErrorCurve(
        curve.form, curve.kind, curve.reference * unit, curve.errors * scale, curve.standard_uncertainties * scale
    )  # fmt: skip
    scene, there = true_from_indicated(curve, reading), true_from_indicated(other, reading * unit)
    assert there.value == pytest.approx(scene.value * unit, rel=1e-9)
    assert there.standard_uncertainty == pytest.approx(scene.standard_uncertainty * unit, rel=1e-6)


def test_points_at_one_value_are_averaged_and_keep_the_largest_uncertainty() -> None:
    curve = error_curve(
        [Point(1.0, 1.02, 0.02, 2.0), Point(1.0, 1.04, 0.01, 2.0), Point(2.0, 2.0, 0.01, 2.0)],
        "absolute",
        "length",
    )
    assert curve.errors.tolist() == pytest.approx([0.03, 0.0])
    assert curve.standard_uncertainties.tolist() == pytest.approx([0.01, 0.005])


def test_temperatures_below_freezing_have_a_curve_too() -> None:
    curve = error_curve(
        [Point(253.15, 253.35, 0.1, 2.0), Point(293.15, 293.05, 0.1, 2.0)], "absolute", "temperature"
    )
    assert true_from_indicated(curve, 253.35).value == pytest.approx(253.15, abs=1e-9)
    assert true_from_indicated(curve, 253.35).findings == ()
    (finding,) = true_from_indicated(curve, 243.35).findings
    assert finding.message is not None
    assert finding.message.parameters["farthest"]["si"] == pytest.approx(243.15)


@pytest.mark.parametrize(
    ("points", "form", "error"),
    [
        ([Point(1.0, 1.1, 0.01, 2.0)], "absolute", NotEnough),
        ([Point(1.0, 1.1, 0.01, 2.0), Point(1.0, 1.2, 0.01, 2.0)], "absolute", NotEnough),
        ([Point(1.0, 2.2, 0.01, 2.0), Point(2.0, 2.1, 0.01, 2.0)], "absolute", OutOfRange),
        ([Point(0.0, 0.1, 0.01, 2.0), Point(2.0, 2.1, 0.01, 2.0)], "relative", OutOfRange),
        ([Point(-1.0, -1.1, 0.01, 2.0), Point(2.0, 2.1, 0.01, 2.0)], "relative", OutOfRange),
        ([Point(1.0, -0.1, 0.01, 2.0), Point(2.0, 2.1, 0.01, 2.0)], "relative", OutOfRange),
    ],
)
def test_points_that_do_not_form_a_curve_are_rejected(
    points: list[Point], form: str, error: type[Exception]
) -> None:
    with pytest.raises(error):
        error_curve(points, form, "length")  # type: ignore[arg-type]


@pytest.mark.parametrize(
    ("figures", "error"),
    [
        ((1.0, float("nan"), 0.1, 2.0), NumberInvalid),
        ((1.0, 1.0, -0.1, 2.0), OutOfRange),
        ((1.0, 1.0, 0.1, 0.0), OutOfRange),
    ],
)
def test_an_impossible_point_is_rejected(
    figures: tuple[float, float, float, float], error: type[Exception]
) -> None:
    with pytest.raises(error):
        Point(*figures)


def test_readings_that_are_not_finite_are_rejected() -> None:
    with pytest.raises(NumberInvalid):
        true_from_indicated(METER, np.array([1.0, np.nan]))
