"""Contributions of the changed inputs to the change of a result: they are complete, and equal to hand calculations."""

from __future__ import annotations

import math
from dataclasses import replace

import numpy as np
import pytest

from compute.base.errors import NotEnough
from compute.calibration.error_correction import Zero
from compute.calibration.points import Point, error_curve
from compute.logs.segments import Segment
from compute.measuring.entries import MaterialEntry
from compute.measuring.flow import times_from_mean_velocity
from compute.results.averaged_orders import averaged_contributions
from compute.results.change_breakdown import (
    CalculationInputs,
    Difference,
    Effect,
    Part,
    differences,
    explain_change,
    mixed_inputs,
)
from compute.results.instrument_errors import KnownError
from compute.results.reduction import Readings, mean_flow, reduce_log
from tests.compute.cases import PAIR, PIPE, WATER
from tests.compute.results.test_survey import occasion, physical

BEFORE = CalculationInputs(PIPE, WATER, PAIR, 2)
SECOND = 1_000_000


def timed_log(count: int = 120) -> list[Readings]:
    """A flow that doubles in the second half of the log, one reading a second."""
    velocity = np.where(np.arange(count) < count / 2, 1.0, 2.0)
    transit, difference = times_from_mean_velocity(physical(), velocity)
    return [
        Readings(
            np.full(count, transit),
            np.asarray(difference),
            times=np.arange(count, dtype=np.int64) * SECOND,
        )
    ]


def flow_of(inputs: CalculationInputs) -> float:
    return mean_flow(
        inputs.pipe,
        inputs.medium,
        inputs.transducers,
        inputs.traverses,
        timed_log(),
        replace(occasion(), segments=inputs.segments, mounted_spacing=inputs.mounted_spacing),
    )


def explained(before: CalculationInputs, after: CalculationInputs) -> tuple[Effect, ...]:
    return explain_change(
        differences(before, after),
        lambda taken: flow_of(mixed_inputs(before, after, taken)),
        flow_of(before),
        flow_of(after),
    )


def varied(seed: int) -> CalculationInputs:
    """Inputs of which about half differ from the first ones."""
    rng = np.random.default_rng(seed)

    def sometimes(changed: object, unchanged: object) -> object:
        return changed if rng.random() < 0.5 else unchanged

    pipe = replace(
        PIPE,
        outer_diameter=sometimes(0.2191 * (1 + rng.normal(0, 0.01)), PIPE.outer_diameter),
        wall_thickness=sometimes(0.008 * (1 + rng.normal(0, 0.1)), PIPE.wall_thickness),
        roughness=sometimes(float(rng.uniform(1e-5, 1e-4)), PIPE.roughness),
        material=sometimes(MaterialEntry("", 5900.0, 3200.0, 5e-5), PIPE.material),
    )  # type: ignore[arg-type]
    wedge = replace(PAIR.transducers, wedge_angle=math.radians(42 + rng.normal(0, 0.3)))
    return CalculationInputs(
        pipe,
        replace(WATER, temperature=sometimes(331.15 + rng.normal(0, 3), WATER.temperature)),  # type: ignore[arg-type]
        replace(PAIR, transducers=sometimes(wedge, PAIR.transducers)),  # type: ignore[arg-type]
        2,
        segments=sometimes((Segment(0, int(rng.integers(30, 110)) * SECOND),), ()),  # type: ignore[arg-type]
    )


@pytest.mark.parametrize("seed", range(12))
def test_the_contributions_add_up_to_the_change(seed: int) -> None:
    after = varied(seed)
    effects = explained(BEFORE, after)
    change = flow_of(after) - flow_of(BEFORE)
    assert math.fsum(one.effect for one in effects) == pytest.approx(change, rel=1e-9, abs=1e-18)
    assert {one.field for one in effects} == {one.field for one in differences(BEFORE, after)}


def test_one_changed_input_has_the_whole_change() -> None:
    after = replace(BEFORE, pipe=replace(PIPE, wall_thickness=0.0063))
    [effect] = explained(BEFORE, after)
    assert (effect.field, effect.before, effect.after) == ("pipe.wall_thickness", 0.008, 0.0063)
    assert effect.effect == flow_of(after) - flow_of(BEFORE)


def test_selected_segments_are_named_with_their_effect() -> None:
    after = replace(BEFORE, segments=(Segment(60 * SECOND, 119 * SECOND, "pump on"),))
    [effect] = explained(BEFORE, after)
    assert effect.field == "segments"
    assert effect.before == ()
    assert effect.after == (
        Part("segment_start", "1970-01-01T00:01:00Z", "text"),
        Part("segment_end", "1970-01-01T00:01:59Z", "text"),
        Part("segment_reason", "pump on", "text"),
    )
    # The mean velocity rises from 1.5 to 2 m/s, by a third.
    assert effect.effect == pytest.approx(flow_of(BEFORE) / 3, rel=2e-3)


def test_the_mean_flow_is_that_of_the_reduction_with_all_that_moves_it() -> None:
    curve = error_curve([Point(0.5, 0.505, 0.004, 2.0), Point(3.0, 3.06, 0.02, 2.0)], "relative", "speed")
    known = (
        KnownError("meter", "velocity", curve, applied=True),
        KnownError("pair", "zero", zero=Zero(2e-9, 5e-10), applied=True),
    )
    for inputs in (BEFORE, varied(3), replace(varied(8), mounted_spacing=0.165)):
        entries = (inputs.pipe, inputs.medium, inputs.transducers, inputs.traverses)
        moved = replace(
            occasion(), segments=inputs.segments, mounted_spacing=inputs.mounted_spacing, known_errors=known
        )
        assert mean_flow(*entries, timed_log(), moved) == reduce_log(*entries, timed_log(), moved).volume_flow


def test_two_factors_share_the_effect_they_have_together() -> None:
    # By hand, a x b from 2 x 3 to 5 x 7: a alone 9 before b and 21 after b; b alone 8 before a and 20 after a.
    value = {frozenset({0}): 5.0 * 3.0, frozenset({1}): 2.0 * 7.0}
    assert averaged_contributions(2, value.__getitem__, 6.0, 35.0) == pytest.approx((15.0, 14.0))


def test_a_sum_of_inputs_gives_each_its_own_part_whatever_their_number() -> None:
    steps = [1.0, -2.0, 0.5, 4.0, 0.0, 3.0, -1.5]
    found = averaged_contributions(
        len(steps), lambda chosen: 10.0 + sum(steps[i] for i in chosen), 10.0, 10.0 + sum(steps)
    )
    assert found == pytest.approx(steps, abs=1e-12)


def test_inputs_that_do_nothing_get_nothing_and_equal_inputs_get_the_same() -> None:
    def value(chosen: frozenset[int]) -> float:
        return 1.0 * (0 in chosen) * (1 in chosen)

    assert averaged_contributions(3, value, 0.0, 1.0) == pytest.approx((0.5, 0.5, 0.0))


def test_orders_through_an_impossible_set_do_not_count() -> None:
    def value(chosen: frozenset[int]) -> float:
        if chosen == frozenset({1}):
            raise NotEnough(field="pipe.wall_thickness", variant="material")
        return 4.0

    assert averaged_contributions(2, value, 1.0, 10.0) == pytest.approx((3.0, 6.0))


def test_a_pipe_replaced_by_a_much_larger_one_has_contributions_although_the_old_pipe_cannot_have_the_new_wall() -> (
    None
):
    small = replace(BEFORE, pipe=replace(PIPE, outer_diameter=0.0603, wall_thickness=0.0039))
    large = replace(BEFORE, pipe=replace(PIPE, outer_diameter=0.2191, wall_thickness=0.031))
    effects = explain_change(
        differences(small, large),
        lambda taken: flow_at_one_velocity(mixed_inputs(small, large, taken)),
        flow_at_one_velocity(small),
        flow_at_one_velocity(large),
    )
    assert [one.field for one in effects] == ["pipe.outer_diameter", "pipe.wall_thickness"]
    change = flow_at_one_velocity(large) - flow_at_one_velocity(small)
    assert math.fsum(one.effect for one in effects) == pytest.approx(change, rel=1e-12)


def flow_at_one_velocity(inputs: CalculationInputs) -> float:
    if inputs.pipe.bore <= 0:
        raise NotEnough(field="pipe.wall_thickness", variant="material")
    return math.pi / 4 * inputs.pipe.bore**2


def test_inputs_possible_only_together_have_one_row() -> None:
    def value(taken: frozenset[str]) -> float:
        if len(taken) == 1:
            raise NotEnough(field="pipe.material", variant="material")
        return 2.0

    found = [
        Difference("traverses", 1, 2, "number"),
        Difference("medium", (Part("name", "water", "text"),), (), "text"),
    ]
    [row] = explain_change(found, value, 2.0, 7.0)
    assert (row.field, row.effect) == ("inputs_together", 5.0)
    assert row.before == (Part("traverses", 1, "number"), Part("name", "water", "text"))


METHOD = Difference("method_version", "1", "2", "text")
WALL = Difference("pipe.wall_thickness", 0.008, 0.0063, "length")


def test_another_method_alone_has_the_whole_change() -> None:
    [row] = explain_change((), lambda taken: math.nan, 2.0, 3.0, METHOD)
    assert (row.field, row.before, row.after, row.effect) == ("method_version", "1", "2", 1.0)


def test_another_method_beside_other_inputs_has_the_change_of_the_earlier_flow() -> None:
    rows = explain_change((WALL,), lambda taken: 2.5, 2.0, 7.0, METHOD)
    assert [(row.field, row.effect) for row in rows] == [
        ("method_version", 0.5),
        ("pipe.wall_thickness", 4.5),
    ]


def test_what_nothing_recorded_explains_is_a_remainder() -> None:
    rows = explain_change((WALL,), lambda taken: 2.5, 2.0, 7.0)
    assert [(row.field, row.effect) for row in rows] == [("remainder", 0.5), ("pipe.wall_thickness", 4.5)]


def test_of_many_inputs_the_sampled_orders_are_near_the_mean_of_all_and_always_the_same() -> None:
    factors = [1.1, 0.9, 1.3, 1.05, 0.8, 1.2]

    def value(chosen: frozenset[int]) -> float:
        return math.prod(factors[i] for i in chosen)

    found = averaged_contributions(6, value, 1.0, math.prod(factors))
    assert found == averaged_contributions(6, value, 1.0, math.prod(factors))
    assert found is not None
    # The exact Shapley value by its definition over all sets.
    exact = [
        sum(
            math.factorial(len(rest))
            * math.factorial(5 - len(rest))
            / math.factorial(6)
            * (factors[i] - 1)
            * value(rest)
            for rest in map(frozenset, subsets([j for j in range(6) if j != i]))
        )
        for i in range(6)
    ]
    assert found == pytest.approx(exact, rel=0.05)
    assert math.fsum(found) == pytest.approx(math.prod(factors) - 1, rel=1e-12)


def subsets(items: list[int]) -> list[list[int]]:
    found: list[list[int]] = [[]]
    for item in items:
        found += [[*one, item] for one in found]
    return found
