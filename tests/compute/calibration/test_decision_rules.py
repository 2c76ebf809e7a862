"""Statements of conformity calculated from calibration points."""

from __future__ import annotations

import math

import pytest
from hypothesis import given
from hypothesis import strategies as st

from compute.base.errors import NotEnough, OutOfRange
from compute.calibration.decision_rules import (
    CONFORMITYS,
    DecisionRule,
    PermissibleError,
    conforming,
    judge,
    judge_point,
    worst_conformity,
)
from compute.calibration.points import Point, degrees_of_freedom_of

RULES = st.builds(
    DecisionRule,
    st.sampled_from(["simple-acceptance", "guarded-acceptance", "non-binary"]),
    st.floats(0.0, 2.0),
)
LIMIT = PermissibleError(absolute=0.05)


def test_the_permissible_error_by_hand() -> None:
    both = (0.1, 0.005)
    assert PermissibleError(absolute=0.1).at(50.0) == 0.1
    assert PermissibleError(relative=0.005).at(-50.0) == 0.25
    assert PermissibleError(*both, "sum").at(50.0) == pytest.approx(0.35)
    assert PermissibleError(*both, "maximum").at(50.0) == 0.25
    assert PermissibleError(*both, "maximum").at(10.0) == 0.1


def test_an_error_exactly_at_the_limit_conforms_despite_rounding() -> None:
    # 20.05 - 20 is 0.0500000000000007 in binary; 293.20 - 293.15 a little above 0.05 too.
    for reference, indicated in ((20.0, 20.05), (293.15, 293.20), (0.3, 0.35), (1.0, 0.95)):
        assert (
            judge_point(
                Point(reference, indicated, 0.0, 2.0), LIMIT, DecisionRule("simple-acceptance")
            ).conformity
            == "pass"
        )
        assert (
            judge_point(
                Point(reference, indicated, 0.0, 2.0), LIMIT, DecisionRule("simple-acceptance")
            ).conformance_probability
            == 1
        )


def test_the_guard_band_narrows_the_acceptance_limit() -> None:
    point = Point(10.0, 10.045, 0.01, 2.0)
    simple, guarded, wide = (
        judge_point(point, LIMIT, rule)
        for rule in (
            DecisionRule("simple-acceptance"),
            DecisionRule("guarded-acceptance"),
            DecisionRule("guarded-acceptance", 0.4),
        )
    )
    assert (simple.conformity, guarded.conformity, wide.conformity) == ("pass", "fail", "pass")
    assert guarded.acceptance_limit == pytest.approx(0.04)
    assert simple.fraction_of_limit == pytest.approx(0.9)


def test_the_certificate_is_as_good_as_its_worst_point() -> None:
    points = [Point(10.0, 10.01, 0.01, 2.0), Point(20.0, 20.055, 0.01, 2.0), Point(30.0, 29.955, 0.01, 2.0)]
    found = judge(points, LIMIT, DecisionRule("non-binary"), "length")
    assert [point.conformity for point in found.points] == ["pass", "conditional-fail", "conditional-pass"]
    assert (found.conformity, found.worst, found.conforms) == ("conditional-fail", 1, False)
    assert found.largest_fraction_of_limit == pytest.approx(1.1)


@given(RULES, st.floats(0.0, 0.1), st.floats(-1.0, 1.0), st.floats(-1.0, 1.0))
def test_a_larger_error_never_has_a_better_conformity(
    rule: DecisionRule, expanded: float, first: float, second: float
) -> None:
    smaller, larger = sorted((first, second), key=abs)
    found = [judge_point(Point(0.0, error, expanded, 2.0), LIMIT, rule) for error in (smaller, larger)]
    assert CONFORMITYS.index(found[0].conformity) <= CONFORMITYS.index(found[1].conformity)
    assert found[0].conformance_probability >= found[1].conformance_probability - 1e-12


@given(RULES, st.floats(0.0, 0.1), st.floats(-0.2, 0.2), st.sampled_from([2.0**-10, 2.0**7]))
def test_a_conformity_does_not_hang_on_the_unit(
    rule: DecisionRule, expanded: float, error: float, unit: float
) -> None:
    # Powers of two scale without rounding, so that a point at a limit stays there.
    here = judge_point(Point(0.0, error, expanded, 2.0), LIMIT, rule)
    there = judge_point(
        Point(0.0, error * unit, expanded * unit, 2.0), PermissibleError(absolute=0.05 * unit), rule
    )
    assert there.conformity == here.conformity
    assert there.conformance_probability == pytest.approx(here.conformance_probability, abs=1e-12)


@given(st.floats(0.001, 0.1), st.floats(-0.2, 0.2))
def test_conformity_with_a_guard_band_implies_conformity_without(expanded: float, error: float) -> None:
    point = Point(0.0, error, expanded, 2.0)
    guarded = judge_point(point, LIMIT, DecisionRule("guarded-acceptance"))
    simple = judge_point(point, LIMIT, DecisionRule("simple-acceptance"))
    assert conforming(simple.conformity) or not conforming(guarded.conformity)
    # With w = U (k = 2) at most 2.275 % lie beyond either limit (normal distribution), so 4.55 % beyond both.
    assert guarded.conformity == "fail" or guarded.specific_risk <= 0.0456


def test_a_guard_band_wider_than_the_limit_is_reported() -> None:
    found = judge([Point(1.0, 1.0, 0.06, 2.0)], LIMIT, DecisionRule("guarded-acceptance"), "length")
    assert found.conformity == "fail"
    assert [finding.code for finding in found.findings] == ["guard-band-wider-than-limit"]


def test_a_calibration_uncertainty_close_to_its_limit_is_reported() -> None:
    coarse = judge([Point(1.0, 1.0, 0.02, 2.0)], LIMIT, DecisionRule("simple-acceptance"), "length")
    fine = judge([Point(1.0, 1.0, 0.01, 2.0)], LIMIT, DecisionRule("simple-acceptance"), "length")
    assert [finding.code for finding in coarse.findings] == ["calibration-uncertainty-large"]
    assert fine.findings == ()


def test_an_uncertainty_with_a_factor_of_one_is_converted_to_two() -> None:
    stated_once = judge([Point(1.0, 1.043, 0.004, 1.0)], LIMIT, DecisionRule("guarded-acceptance"), "length")
    assert stated_once.points[0].guard_band == pytest.approx(0.008)
    assert stated_once.conformity == "fail"
    assert [finding.code for finding in stated_once.findings] == ["coverage-factor-low"]


def test_invalid_input_of_a_decision_rule_is_rejected() -> None:
    with pytest.raises(NotEnough):
        judge([], LIMIT, DecisionRule("simple-acceptance"), "length")
    with pytest.raises(NotEnough):
        worst_conformity([])
    with pytest.raises(NotEnough):
        PermissibleError()
    with pytest.raises(NotEnough, match="not-enough-data/combine-by"):
        PermissibleError(0.1, 0.01)
    with pytest.raises(OutOfRange):
        PermissibleError(absolute=0.0)
    with pytest.raises(OutOfRange):
        DecisionRule("generous")  # type: ignore[arg-type]
    with pytest.raises(OutOfRange):
        DecisionRule("guarded-acceptance", -0.1)
    with pytest.raises(OutOfRange):
        judge(
            [Point(0.0, 0.0, 0.1, 2.0)],
            PermissibleError(relative=0.01),
            DecisionRule("simple-acceptance"),
            "speed",
        )


def test_few_degrees_of_freedom_make_the_specific_risk_that_of_students_t() -> None:
    # k = 2.65 is Student's factor for 95.45 % and 5 degrees of freedom (GUM table G.2). An error one guard band inside the limit is wrongly
    # accepted with (1 - 0.9545)/2 = 0.0228; the normal distribution says 0.0040.
    found = judge_point(Point(10.0, 10.03, 0.02, 2.65), LIMIT, DecisionRule("guarded-acceptance"))
    assert found.conformity == "pass"
    assert found.degrees_of_freedom == pytest.approx(5, abs=0.02)
    assert found.specific_risk == pytest.approx(0.0228, abs=2e-4)
    normal = judge_point(Point(10.0, 10.03, 0.04 / 2.65, 2.0), LIMIT, DecisionRule("guarded-acceptance", 0.5))
    assert normal.specific_risk < 0.01


@pytest.mark.parametrize(("factor", "freedom"), [(2.87, 4), (2.52, 6), (2.28, 10), (2.13, 20), (2.05, 50)])
def test_degrees_of_freedom_follow_from_the_coverage_factor(factor: float, freedom: int) -> None:
    # GUM table G.2, column 95.45 %, factors of two decimals (from memory).
    assert degrees_of_freedom_of(factor) == pytest.approx(freedom, rel=0.05)


@pytest.mark.parametrize("factor", [1.0, 1.65, 1.96, 2.0, 2.58, 3.0])
def test_the_factors_of_the_normal_distribution_have_infinite_degrees_of_freedom(factor: float) -> None:
    assert math.isinf(degrees_of_freedom_of(factor))
