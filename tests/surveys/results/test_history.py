"""Significance of the change between two surveys of a point, with shared uncertainty counted once."""

from __future__ import annotations

import math
from datetime import date, timedelta

import pytest
from django.db import connection
from django.test.utils import CaptureQueriesContext
from django.utils import timezone

from compute.combining.repeat_mountings import DEFAULT_MOUNTING
from surveys.models import CombinedResult
from surveys.results.history import Found, point_history
from surveys.results.recalculation import recomputation_run
from surveys.services.surveys.surveys import SurveyNotes, survey_record
from tests.surveys.branches import Mounting, logged, mounted
from tests.surveys.scene import STARTED, Scene, current

pytestmark = pytest.mark.django_db

# What the pipe, the meter, the pair and the profile do to both surveys alike; the rest is of each day.
SHARED = (
    "pipe.outer", "pipe.wall", "pipe.rough", "transducers.wedge_angle", "transducers.wedge_sound_speed", "transducers.wedge_delay",
    "transducers.wedge_temperature", "readings.transit_time", "meter.calibration", "profile_factor",
)  # fmt: skip
MONTH = timedelta(days=30)


def history_of(scene: Scene, **wanted: int) -> list[Found]:
    return point_history(scene.point, scene.cast.owner, **wanted)


def contributions(found: Found) -> dict[str, float]:
    return {row["input"]: row["contribution"]["si"] for row in found.result.budget}


def root_sum_of_squares(one: Found, other: Found) -> float:
    return math.hypot(one.expanded_uncertainty_m3_s, other.expanded_uncertainty_m3_s)


def test_shared_uncertainty_of_two_surveys_cancels_in_their_difference(scene: Scene) -> None:
    scene.survey()
    scene.survey(STARTED + MONTH)
    before, after = history_of(scene)
    assert before.change is None
    assert after.change is not None
    # By hand, JCGM 100:2008 5.2.2: shared inputs subtract before they are squared, those of a day add as squares. The
    # two logs are alike, so the shared ones leave nothing. Half of the variance of a disturbed profile and 0.7 % are of each mounting.
    own = [
        contribution * (math.sqrt(0.5) if name == "installation" else 1)
        for found in (before, after)
        for name, contribution in contributions(found).items()
        if not name.startswith(SHARED)
    ]
    own += [DEFAULT_MOUNTING * found.volume_flow_m3_s for found in (before, after)]
    assert after.change.explained_m3_s == pytest.approx(1.96 * math.hypot(*own), rel=0.02)
    assert after.change.explained_m3_s < 0.9 * root_sum_of_squares(before, after)
    assert after.change.explained


def test_a_rise_larger_than_the_uncertainty_of_the_difference_is_not_explained(scene: Scene) -> None:
    logged(mounted(scene), 170)
    logged(mounted(scene), 221)
    change = history_of(scene)[-1].change
    assert change is not None
    assert change.relative == pytest.approx(0.3, abs=0.01)
    assert not change.explained


def test_after_a_modification_of_the_pipe_its_uncertainties_do_not_cancel(scene: Scene) -> None:
    scene.survey()
    scene.survey(STARTED + MONTH)
    alike = history_of(scene)[-1].change
    recomputation_run(scene.alter(0.0063, date(2026, 10, 20)).pk)
    altered = history_of(scene)[-1].change
    assert alike is not None
    assert altered is not None
    assert altered.difference_m3_s == pytest.approx(alike.difference_m3_s)
    assert altered.explained_m3_s > 1.1 * alike.explained_m3_s


def test_several_paths_of_one_measurement_are_shown_as_their_mean(scene: Scene) -> None:
    scene.survey(STARTED - MONTH)
    first = logged(mounted(scene, Mounting(path_angle_deg=0)))
    logged(mounted(scene, Mounting(primary_survey=first, path_angle_deg=90)), 172)
    before, after = history_of(scene)
    mean = CombinedResult.objects.get(combination__survey=first, replaced_at__isnull=True)
    assert (before.paths, after.paths) == (1, 2)
    assert after.volume_flow_m3_s == mean.volume_flow_m3_s
    assert after.change is not None
    assert after.change.difference_m3_s == mean.volume_flow_m3_s - before.volume_flow_m3_s


def test_paths_that_disagree_leave_more_of_a_change_explained(scene: Scene) -> None:
    scene.survey(STARTED - MONTH)
    first = logged(mounted(scene, Mounting(path_angle_deg=0)))
    second = logged(mounted(scene, Mounting(primary_survey=first, path_angle_deg=90)), 187)
    change = history_of(scene)[-1].change
    assert change is not None
    apart = current(second).volume_flow_m3_s - current(first).volume_flow_m3_s
    assert change.explained_m3_s > 1.96 * apart / 2 / math.sqrt(3)


def test_a_long_history_is_read_in_pages_and_each_page_compares_its_oldest(scene: Scene) -> None:
    for n in range(4):
        scene.survey(STARTED + n * MONTH)
    whole = [one.result.survey_id for one in history_of(scene)]
    newest, older = history_of(scene, newest=2), history_of(scene, newest=2, skipped=2)
    assert [one.result.survey_id for one in older + newest] == whole
    assert [one.change is None for one in older + newest] == [True, False, False, False]


def test_a_flow_not_significantly_different_from_zero_has_no_relative_change(scene: Scene) -> None:
    logged(mounted(scene), -2)
    logged(mounted(scene), 170)
    before, after = history_of(scene)
    assert abs(before.volume_flow_m3_s) < before.expanded_uncertainty_m3_s
    assert after.change is not None
    assert after.change.relative is None


def test_the_history_costs_the_same_queries_whatever_its_length(scene: Scene) -> None:
    def crossed() -> int:
        first = logged(mounted(scene, Mounting(path_angle_deg=0)))
        logged(mounted(scene, Mounting(primary_survey=first, path_angle_deg=90)))
        with CaptureQueriesContext(connection) as requested:
            history_of(scene)
        return len(requested)

    assert len({crossed() for _ in range(3)}) == 1


def test_two_mountings_of_one_day_are_repeats_and_two_logs_of_one_set_up_are_not(scene: Scene) -> None:
    first = scene.survey()
    second = survey_record(
        point=scene.point,
        setup=first.stated.setup,
        job=None,
        instruments=[scene.kit.meter],
        notes=SurveyNotes(STARTED + timedelta(hours=1)),
        by=scene.cast.technician,
        now=timezone.now(),
    )
    logged(second, 172)
    scene.survey(STARTED + MONTH)
    assert [one.change.mounting.repeats for one in history_of(scene) if one.change] == [0, 0]
    scene.survey(STARTED + timedelta(hours=2))
    assert [one.change.mounting.repeats for one in history_of(scene) if one.change] == [1, 1, 1]
