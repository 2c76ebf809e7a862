"""Several paths at one point: their mean, and the possible cause of a disagreement."""

from __future__ import annotations

import math
from collections.abc import Mapping
from typing import Any

import pytest

from compute.base.errors import NotEnough
from compute.combining.components import Component, Part
from compute.combining.paths import Path, PathsResult, combine_paths


def path(value: float, own: str, around_deg: float | None = 0.0, traverses: int = 1) -> Path:
    """Return a path with a shared uncertainty of 1 and an independent one of 0.1."""
    components = (Component("pipe", 1.0), Component(own, 0.1))
    return Path(
        Part(value, components, name=own), traverses, None if around_deg is None else math.radians(around_deg)
    )


def the_finding(result: PathsResult) -> Mapping[str, Any]:
    [finding] = [f for f in result.combined.findings if f.code.startswith("paths-")]
    assert finding.message is not None
    return finding.message.parameters


def test_paths_that_agree_have_the_mean_and_the_full_shared_uncertainty() -> None:
    result = combine_paths([path(10.0, "a"), path(10.2, "b", 90)])
    assert result.agree
    assert result.combined.value == pytest.approx(10.1)
    # Own 0.1 each shrinks to 0.1/sqrt(2); the shared 1 does not.
    assert result.combined.combined_standard_uncertainty == pytest.approx(math.hypot(1.0, 0.1 / math.sqrt(2)))
    assert [f.code for f in result.combined.findings] == ["paths-agree"]


def test_a_pair_of_paths_is_compared_by_its_independent_uncertainty() -> None:
    # The shared doubt of 1 cancels: limit 1.96 x 0.1 sqrt(2) = 0.277, so 0.3 apart is too much.
    [pair] = combine_paths([path(10.0, "a"), path(10.3, "b", 90)]).pairs
    assert pair.standard_uncertainty == pytest.approx(0.1 * math.sqrt(2))
    assert pair.limit == pytest.approx(0.2772, rel=1e-3)
    assert not pair.agrees


def test_a_spread_that_is_not_explained_enters_the_budget_as_a_rectangle() -> None:
    result = combine_paths([path(10.0, "a"), path(11.0, "b", 90)])
    [row] = [row for row in result.combined.budget if row.key == "spread-of-paths"]
    assert row.contribution == pytest.approx(0.5 / math.sqrt(3))
    assert result.combined.combined_standard_uncertainty == pytest.approx(math.sqrt(1 + 0.01 / 2 + 0.25 / 3))
    assert result.combined.value == pytest.approx(10.5)


def test_among_more_paths_each_pair_has_a_wider_limit() -> None:
    # Three pairs at 95 % together: 1 - 0.05/3 each, two-sided normal quantile 2.394.
    result = combine_paths([path(10.0, "a"), path(10.1, "b", 60), path(10.2, "c", 120)])
    assert len(result.pairs) == 3
    assert result.pairs[0].limit == pytest.approx(2.394 * 0.1 * math.sqrt(2), rel=1e-3)


@pytest.mark.parametrize(
    ("one", "other", "sign"),
    [
        (path(1, "a", 0, 1), path(3, "b", 90, 1), "two-diameters-odd"),
        (path(1, "a", 0, 2), path(3, "b", 90, 2), "two-diameters-even"),
        (path(1, "a", 0, 1), path(3, "b", 90, 2), "two-diameters-odd-and-even"),
        (path(1, "a", 0, 1), path(3, "b", 180, 1), "crossed-on-one-diameter"),
        (path(1, "a", 0, 2), path(3, "b", 180, 2), "one-diameter"),
        (path(1, "a", 0, 1), path(3, "b", 355, 1), "one-diameter"),
        (path(1, "a", 0, 1), path(3, "b", 0, 2), "one-diameter-odd-and-even"),
        (path(1, "a", None), path(3, "b", 90), "unknown"),
    ],
)
def test_the_possible_cause_of_a_disagreement_follows_from_the_geometry(
    one: Path, other: Path, sign: str
) -> None:
    assert the_finding(combine_paths([one, other]))["geometry"] == sign


def test_the_finding_names_the_worst_pair() -> None:
    found = the_finding(combine_paths([path(10.0, "a"), path(10.1, "b", 60), path(14.0, "c", 120)]))
    assert (found["first"], found["second"]) == (1, 3)


def test_equal_paths_with_fully_shared_uncertainty_agree() -> None:
    same = Path(Part(3.0, (Component("pipe", 1.0),)), 2)
    assert combine_paths([same, same]).agree


def test_unequal_paths_with_fully_shared_uncertainty_disagree_without_a_division_by_zero() -> None:
    one, other = (Path(Part(value, (Component("pipe", 1.0),)), 2) for value in (3.0, 3.1))
    assert the_finding(combine_paths([one, other]))["ratio"] is None


def test_one_path_cannot_be_combined() -> None:
    with pytest.raises(NotEnough):
        combine_paths([path(1.0, "a")])
