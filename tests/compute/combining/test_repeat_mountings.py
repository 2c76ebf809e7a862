"""Changes between surveys: few false calls in simulation, and the uncertainty of a mounting by hand."""

from __future__ import annotations

import math
from functools import cache

import numpy as np
import pytest

from compute.combining.combination import combine
from compute.combining.components import Component, Part, part_of_result
from compute.combining.repeat_mountings import (
    DEFAULT_MOUNTING,
    mounting_uncertainty,
    part_of_survey,
    profile_is_shared,
)
from compute.results.reduction import reduce_log
from compute.statistics.gum import BudgetRow
from tests.compute.cases import PAIR, PIPE, WATER
from tests.compute.results.test_survey import log, occasion

# What both surveys share in truth; everything else is drawn again for each mounting.
SHARED = {
    "pipe.outer_diameter", "pipe.wall_thickness", "pipe.roughness", "transducers.wedge_angle", "transducers.wedge_sound_speed",
    "transducers.wedge_delay", "transducers.wedge_temperature", "pipe.wall_sound_speed", "readings.transit_time", "profile_factor",
}  # fmt: skip
CALLS = 1500


@cache
def budget() -> tuple[tuple[BudgetRow, ...], float]:
    reduction = reduce_log(PIPE, WATER, PAIR, 2, log(), occasion())
    return reduction.uncertainty.budget, reduction.volume_flow


def part(value: float, survey: str) -> Part:
    """A result of the point at some flow, its contributions in proportion."""
    rows, flow = budget()
    shared = dict.fromkeys(("pipe", "meter", "pair", "point"), "1")
    owners = shared | dict.fromkeys(("mounting", "medium", "run"), survey)
    whole = part_of_result(flow, rows, owners)  # type: ignore[arg-type]
    return Part(
        value,
        tuple(
            Component(c.key, c.contribution * value / flow, c.degrees_of_freedom) for c in whole.components
        ),
    )


def called(changes: float, mounting: float, repeats: int, seed: int) -> float:
    """Fraction of simulated pairs of surveys whose change is called significant.

    changes : true relative change; mounting : true relative standard deviation; repeats : days with two mountings before
    """
    rng = np.random.default_rng(seed)
    rows, flow = budget()
    relative = {row.input: row.contribution / flow for row in rows}
    common = math.hypot(*(u for name, u in relative.items() if name in SHARED))
    own = math.hypot(mounting, *(u for name, u in relative.items() if name not in SHARED))
    count = 0
    for _ in range(CALLS):
        shared = rng.normal(0, common)
        seen = flow * (1 + shared + rng.normal(0, own, (repeats, 2)))
        before, after = flow * (1 + shared + rng.normal(0, own, 2)) * np.array([1, 1 + changes])
        found = mounting_uncertainty(seen.tolist())
        parts = [
            part_of_survey(part(float(value), name), found, name, shares_profile=True)
            for value, name in ((after, "after"), (before, "before"))
        ]
        limit = combine([parts[0], Part(-before, tuple(_negative(c) for c in parts[1].components))])
        count += abs(after - before) > limit.expanded_uncertainty
    return count / CALLS


def _negative(component: Component) -> Component:
    return Component(component.key, -component.contribution, component.degrees_of_freedom)


@pytest.mark.parametrize(
    ("mounting", "repeats"),
    [
        (DEFAULT_MOUNTING, 0),
        (DEFAULT_MOUNTING, 1),
        (DEFAULT_MOUNTING, 5),
        (DEFAULT_MOUNTING / 2, 3),
        (2 * DEFAULT_MOUNTING, 12),
    ],
)
def test_a_change_that_is_none_is_rarely_called_significant(mounting: float, repeats: int) -> None:
    # 5 % with two standard deviations of 1500 calls.
    assert called(0.0, mounting, repeats, seed=14) <= 0.05 + 2 * math.sqrt(0.05 * 0.95 / CALLS)


def test_a_change_of_five_percent_is_found() -> None:
    assert called(0.05, DEFAULT_MOUNTING, 3, seed=15) > 0.95


def test_without_repeats_the_default_is_used() -> None:
    found = mounting_uncertainty([[1.0], [], [2.0]])
    assert (found.relative, found.degrees_of_freedom, found.repeats) == (DEFAULT_MOUNTING, math.inf, 0)


def test_repeats_that_differ_by_more_than_the_default_are_pooled_by_hand() -> None:
    # Days of 0.99 and 1.01, and of 2.04, 2.00 and 1.96: sums of squares 2 x 0.01^2 and 2 x 0.02^2, 3 degrees of freedom.
    found = mounting_uncertainty([[0.99, 1.01], [2.04, 2.0, 1.96]])
    assert (found.repeats, found.degrees_of_freedom) == (3, 3)
    assert found.relative == pytest.approx(math.sqrt(1e-3 / 3))


def test_repeats_that_agree_by_chance_are_combined_with_the_default_by_hand() -> None:
    # Sum of squares 2 x 0.001^2 with 1 degree of freedom, and 0.7 % with 4.
    found = mounting_uncertainty([[0.999, 1.001]])
    assert (found.repeats, found.degrees_of_freedom) == (1, 5)
    assert found.relative == pytest.approx(math.sqrt((4 * 0.007**2 + 2e-6) / 5))


def test_flows_around_zero_and_flows_that_changed_are_no_repeats() -> None:
    assert mounting_uncertainty([[1.0, 1.3]]).repeats == 0
    assert mounting_uncertainty([[0.1, -0.1], [0.0, 0.0]]).repeats == 0


def test_half_of_the_variance_of_a_disturbed_profile_is_new_with_each_mounting() -> None:
    whole = Part(2.0, (Component("installation@point:1", 0.02), Component("profile_factor@point:1", 0.01)))
    none = mounting_uncertainty([])
    parts = {c.key: c.contribution for c in part_of_survey(whole, none, "a", shares_profile=True).components}
    assert parts["installation@point:1"] == pytest.approx(0.02 / math.sqrt(2))
    assert parts["installation@run:a"] == pytest.approx(0.02 / math.sqrt(2))
    assert parts["mounting@run:a"] == pytest.approx(2 * DEFAULT_MOUNTING)
    assert "profile_factor@point:1" in parts
    apart = {c.key for c in part_of_survey(whole, none, "a", shares_profile=False).components}
    assert "profile_factor@run:a" in apart


def test_the_profile_is_shared_by_similar_reynolds_numbers() -> None:
    assert profile_is_shared(1e5, -1.9e5)
    assert not profile_is_shared(1e5, 2.1e5)
    assert not profile_is_shared(0.0, 1e5)
