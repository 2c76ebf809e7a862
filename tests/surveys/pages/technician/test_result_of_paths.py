"""Result page of several paths at a point: their mean first, then the result of the path."""

from __future__ import annotations

import html
from typing import Any

import pytest
from django.db import connection
from django.test import Client as Visitor

from surveys.documents.formatting import flow_with_uncertainty
from surveys.models import Combination, Survey
from surveys.pipes.selectors import paths_result
from tests.surveys.branches import Mounting, logged, mounted
from tests.surveys.operations.test_integrity_check import freely
from tests.surveys.scene import Scene, current

pytestmark = pytest.mark.django_db


def page_of(scene: Scene, survey: Survey, page: str = "/field/surveys/{}/result/") -> str:
    visitor = Visitor()
    visitor.force_login(scene.cast.office)
    return html.unescape(visitor.get(page.format(survey.pk)).content.decode())


def figure(found: Any) -> str:
    return flow_with_uncertainty(found.volume_flow_m3_s, found.expanded_uncertainty_m3_s, "metric")


def test_the_mean_is_the_result_on_each_paths_page_as_in_the_portal(scene: Scene) -> None:
    first = logged(mounted(scene, Mounting(path_angle_deg=0)), level=170)
    second = logged(mounted(scene, Mounting(primary_survey=first, path_angle_deg=90)), level=200)
    mean = paths_result(first)
    assert mean is not None
    for path in (first, second):
        text = page_of(scene, path)
        assert f'id="flow">{figure(mean)}<' in text
        assert f'id="path-flow">{figure(current(path))}<' in text
        assert "mean of the 2 paths measured together" in text
        assert figure(mean) in page_of(scene, path, "/surveys/{}/")
    assert figure(current(first)) != figure(current(second)) != figure(mean)


def test_findings_on_the_combined_paths_are_shown_too(scene: Scene) -> None:
    first = logged(mounted(scene, Mounting(path_angle_deg=0)), level=170)
    second = logged(mounted(scene, Mounting(primary_survey=first, path_angle_deg=90)), level=400)
    mean = paths_result(first)
    assert mean is not None
    assert mean.findings
    for finding in mean.findings:
        assert f'data-code="{finding["code"]}"' in page_of(scene, second)


def test_a_single_survey_has_its_own_result_without_paths(scene: Scene) -> None:
    survey = logged(mounted(scene))
    text = page_of(scene, survey)
    assert f'id="flow">{figure(current(survey))}<' in text
    assert "path" not in text


@pytest.mark.parametrize(
    ("blocked_reason", "says"),
    [
        (
            {"code": "not-enough-data", "variant": "paths", "parameters": {"count": 1}},
            "The paths cannot be combined: A mean of paths needs at least two paths; 1 is given.",
        ),
        (None, "The mean is calculated when all paths have a result."),
    ],
)
def test_without_a_mean_of_paths_the_result_is_labelled_as_one_path(
    scene: Scene, blocked_reason: dict[str, Any] | None, says: str
) -> None:
    first = logged(mounted(scene, Mounting(path_angle_deg=0)))
    logged(mounted(scene, Mounting(primary_survey=first, path_angle_deg=90)))
    freely("surveys_combinedresult")
    with connection.cursor() as cursor:
        cursor.execute("DELETE FROM surveys_combinedresult")
    Combination.objects.filter(survey=first).update(blocked_reason=blocked_reason)
    text = page_of(scene, first)
    assert f'id="flow">{figure(current(first))}<' in text
    assert "This path is one of several paths measured together." in text
    assert says in text
