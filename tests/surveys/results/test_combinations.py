"""Combined surveys: shared uncertainty counts once, on the times of the logs; a changed part changes the result."""

from __future__ import annotations

import math
from typing import Any

import pytest
from django.utils import timezone

from compute.base.errors import NotEnough
from surveys.core.errors import ServiceError
from surveys.models import Combination, CombinationPart, Site, Survey
from surveys.services.surveys.surveys import Segment, survey_mark_segments
from tests.surveys.branches import (
    Mounting,
    another_pair,
    branch,
    combined,
    current_of,
    later,
    logged,
    mounted,
    rows_of,
    worked_off,
)
from tests.surveys.scene import Scene, current, make_scene

pytestmark = pytest.mark.django_db

# Whose a doubt is, as `compute.combining.components` has it: common practice.
OF_PAIR = {
    "transducers.wedge_angle",
    "transducers.wedge_sound_speed",
    "transducers.wedge_delay",
    "transducers.wedge_temperature_coefficient",
    "transducers.wedge_temperature",
}
OF_METER = {"readings.transit_time", "meter", "meter.calibration"}
# A zero is that of a meter with a pair as mounted.
OF_MOUNTING = {"readings.time_difference", "meter.zero", "spacing"}
OF_RUN = {"repeatability", "pipe.ovality"}


def crossed(scene: Scene, level: float) -> Combination:
    """Two paths at a right angle, the first at 170 ns."""
    first = logged(mounted(scene, Mounting(path_angle_deg=0)))
    logged(mounted(scene, Mounting(primary_survey=first, path_angle_deg=90)), level)
    return Combination.objects.get(survey=first)


def finding(combination: Combination, code: str) -> dict[str, Any]:
    [found] = [one for one in current_of(combination).findings if one["code"] == code]
    return found


def test_two_crossed_paths_that_agree_give_their_mean(scene: Scene) -> None:
    combination = crossed(scene, 170.2)
    one, other = (current(part.survey) for part in combination.parts.order_by("sequence"))
    result = current_of(combination)
    assert result.volume_flow_m3_s == pytest.approx((one.volume_flow_m3_s + other.volume_flow_m3_s) / 2)
    assert result.range_m3_s == pytest.approx(other.volume_flow_m3_s - one.volume_flow_m3_s)
    assert set(result.results.all()) == {one, other}
    assert finding(combination, "paths-agree")["severity"] == "info"


def test_crossed_paths_that_disagree_show_an_asymmetric_profile_and_have_a_larger_uncertainty(
    scene: Scene,
) -> None:
    agreed = current_of(crossed(scene, 170.2))
    combination = crossed(scene, 187)
    disagreement = finding(combination, "paths-disagree")
    assert disagreement["severity"] == "warning"
    # Two traverses each: a cross-flow cancels, so it is the profile.
    assert disagreement["parameters"]["geometry"] == "two-diameters-even"
    assert (disagreement["parameters"]["first"], disagreement["parameters"]["second"]) == (1, 2)
    assert current_of(combination).expanded_uncertainty_m3_s > 1.2 * agreed.expanded_uncertainty_m3_s


def test_a_repeat_with_another_pair_keeps_the_full_uncertainties_of_pipe_and_meter(scene: Scene) -> None:
    first = logged(mounted(scene))
    repeat = logged(mounted(scene, Mounting(primary_survey=first, pair=another_pair(scene))))
    rows = [rows_of(current(survey).budget) for survey in (first, repeat)]
    # By hand, GUM 5.2.2: what is shared adds before it is squared, what is each path's own as squares.
    own = OF_PAIR | OF_MOUNTING | OF_RUN
    apart = sum((row[name] / 2) ** 2 for row in rows for name in row if name in own)
    shared = sum(((rows[0][name] + rows[1][name]) / 2) ** 2 for name in rows[0] if name not in own)
    result = current_of(Combination.objects.get())
    assert result.combined_standard_uncertainty_m3_s == pytest.approx(math.sqrt(apart + shared))
    assert result.shared_variance_fraction == pytest.approx(shared / (apart + shared))
    assert result.combined_standard_uncertainty_m3_s > 0.75 * math.hypot(*rows[0].values())


def test_the_same_pair_again_shares_the_pairs_uncertainties_too(scene: Scene) -> None:
    first = logged(mounted(scene))
    logged(mounted(scene, Mounting(primary_survey=first)))
    [row] = [
        row
        for row in current_of(Combination.objects.get()).budget
        if row["input"] == "transducers.wedge_angle"
    ]
    assert len(row["surveys"]) == 2
    assert row["owner"] == str(scene.kit.pair.pk)


def test_a_third_path_extends_the_combination_of_the_first_two(scene: Scene) -> None:
    first = logged(mounted(scene))
    logged(mounted(scene, Mounting(primary_survey=first)))
    third = logged(mounted(scene, Mounting(primary_survey=first)), 171)
    combination = Combination.objects.get()
    result = current_of(combination)
    assert combination.parts.count() == result.results.count() == 3
    assert result.replaces is not None
    [part] = [part for part in result.change_breakdown["parts"] if part["survey"] == str(third.pk)]
    assert part["before"] is None


def test_paths_wait_for_the_log_of_the_first(scene: Scene) -> None:
    first = mounted(scene)
    logged(mounted(scene, Mounting(primary_survey=first)))
    assert not Combination.objects.get().results.exists()
    logged(first)
    assert current_of(Combination.objects.get()).results.count() == 2


def branches(scene: Scene, kind: str, levels: tuple[float, float]) -> tuple[Combination, list[Survey]]:
    places = [scene, branch(scene, "West branch")]
    surveys = [logged(mounted(place), level) for place, level in zip(places, levels, strict=True)]
    return combined(scene, kind, surveys), surveys


def test_the_sum_of_two_branches_by_one_meter_adds_the_uncertainty_of_the_meter(scene: Scene) -> None:
    combination, surveys = branches(scene, "sum", (170, 90))
    parts = [current(survey) for survey in surveys]
    result = current_of(combination)
    assert result.volume_flow_m3_s == pytest.approx(sum(part.volume_flow_m3_s for part in parts))
    assert result.steps == 80
    rows = [rows_of(part.budget) for part in parts]
    shown = {row["input"]: row for row in result.budget}
    for name in OF_METER & rows[0].keys():
        assert shown[name]["contribution"]["si"] == pytest.approx(rows[0][name] + rows[1][name])
    # Two mountings have two zeros, and two walls two uncertainties: a row each.
    assert sum(row["input"] == "readings.time_difference" for row in result.budget) == 2
    assert sum(row["input"] == "pipe.wall_thickness" for row in result.budget) == 2
    assert result.range_m3_s is None


def test_supply_less_return_cancels_the_common_errors_of_one_meter_and_one_pair(scene: Scene) -> None:
    combination, surveys = branches(scene, "difference", (170, 150))
    supply, back = (current(survey) for survey in surveys)
    result = current_of(combination)
    assert result.volume_flow_m3_s == pytest.approx(supply.volume_flow_m3_s - back.volume_flow_m3_s)
    ones, others = rows_of(supply.budget), rows_of(back.budget)
    shown = {row["input"]: row["contribution"]["si"] for row in result.budget}
    for name in (OF_METER | OF_PAIR) & ones.keys():
        assert shown[name] == pytest.approx(ones[name] - others[name], abs=1e-12)
    # Two branches by one meter have two zeros: they do not cancel.
    zeros = [row for row in result.budget if row["input"] == "readings.time_difference"]
    assert math.hypot(*(row["contribution"]["si"] for row in zeros)) == pytest.approx(
        math.hypot(ones["readings.time_difference"], others["readings.time_difference"])
    )
    # Where one medium in two pipes would cancel, it is taken for two.
    media = [row for row in result.budget if row["input"] == "medium.temperature"]
    assert len(media) == len([name for name in ones if name == "medium.temperature"]) * 2


def test_the_mean_of_parallel_runs_has_their_spread(scene: Scene) -> None:
    combination, surveys = branches(scene, "mean", (170, 174))
    one, other = (current(survey).volume_flow_m3_s for survey in surveys)
    result = current_of(combination)
    assert result.volume_flow_m3_s == pytest.approx((one + other) / 2)
    assert result.range_m3_s == pytest.approx(other - one)


def test_only_the_time_in_which_all_logs_run_counts(scene: Scene) -> None:
    # The first ran at 100 ns until the second began to log; the sum is of the minute after.
    early = logged(mounted(scene), [100.0] * 40 + [170.0] * 60)
    west = branch(scene, "West branch")
    late = logged(mounted(west), [90.0] * 60, late=40)
    steady = logged(mounted(branch(scene, "Like the first")), [170.0] * 60)
    result = current_of(combined(scene, "sum", [early, late]))
    assert (result.averaged_from, result.averaged_to, result.steps) == (later(40), later(99), 60)
    flow = current(steady).volume_flow_m3_s + current(late).volume_flow_m3_s
    assert result.volume_flow_m3_s == pytest.approx(flow, rel=1e-6)


def test_marked_segments_of_a_part_are_used_in_the_combined_result(scene: Scene) -> None:
    combination, surveys = branches(scene, "sum", (170, 90))
    _, recomputation = survey_mark_segments(
        survey=surveys[0],
        segments=[Segment(later(10), later(29), "steady")],
        reason="The pump was started.",
        by=scene.cast.technician,
        now=timezone.now(),
    )
    worked_off(recomputation)
    assert current(surveys[0]).readings_used == 20
    result = current_of(combination)
    assert (result.steps, result.averaged_from, result.averaged_to) == (20, later(10), later(29))


def test_logs_with_no_time_in_common_are_not_combined(scene: Scene) -> None:
    one, other = logged(mounted(scene)), logged(mounted(branch(scene, "West branch")), late=3600)
    with pytest.raises(NotEnough, match="no-common-time"):
        combined(scene, "sum", [one, other])
    assert not Combination.objects.exists()


def test_a_part_without_a_result_delays_the_combination_and_then_gives_the_reason(scene: Scene) -> None:
    one, other = logged(mounted(scene)), mounted(branch(scene, "West branch"))
    third = mounted(branch(scene, "East branch"))
    good, bad = combined(scene, "sum", [one, other]), combined(scene, "sum", [one, third])
    assert not good.results.exists()
    logged(other, 90)
    logged(third, 90, late=3600)
    assert current_of(good).cause == "log-import"
    bad.refresh_from_db()
    assert (bad.blocked_reason["code"], bad.blocked_reason["variant"]) == (
        "not-enough-data",
        "no-common-time",
    )
    assert current(third).readings_used == 80


def rejection(scene: Scene, kind: str, surveys: list[Survey]) -> tuple[str, str]:
    with pytest.raises(ServiceError) as caught:
        combined(scene, kind, surveys)
    return caught.value.code, caught.value.field


def test_incompatible_parts_are_rejected(scene: Scene, cast: Any, kit: Any) -> None:
    one, other = mounted(scene), mounted(branch(scene, "West branch"))
    path = mounted(scene, Mounting(primary_survey=one))
    elsewhere = mounted(make_scene(Site.objects.create(client=cast.client, name="Elsewhere"), cast, kit))
    assert rejection(scene, "sum", [one]) == ("parts-number", "parts")
    assert rejection(scene, "difference", [one, other, path]) == ("parts-number", "parts")
    assert rejection(scene, "sum", [one, other, one]) == ("duplicate-part", "parts.2")
    assert rejection(scene, "mean", [one, path]) == ("paths-of-one-flow", "parts.1")
    assert rejection(scene, "sum", [one, elsewhere]) == ("other-site", "parts.1")
    assert not CombinationPart.objects.exists()


def test_a_further_path_is_of_a_first_one_at_the_same_point(scene: Scene) -> None:
    first = mounted(scene)
    path = mounted(scene, Mounting(primary_survey=first))
    for place, of, code in (
        (branch(scene, "West branch"), first, "other-point"),
        (scene, path, "path-of-a-path"),
    ):
        with pytest.raises(ServiceError) as caught:
            mounted(place, Mounting(primary_survey=of))
        assert (caught.value.code, caught.value.field) == (code, "primary_survey")
