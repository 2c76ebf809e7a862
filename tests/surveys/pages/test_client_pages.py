"""Responses of the portal's pages: unusual requests, and a survey of several paths."""

from __future__ import annotations

from typing import Any

import pytest
from django.test import Client as Visitor

from surveys.documents.formatting import flow_with_uncertainty
from surveys.models import Survey
from surveys.pipes.selectors import paths_result
from tests.surveys.branches import Mounting, logged, mounted
from tests.surveys.scene import Scene, current

pytestmark = pytest.mark.django_db


@pytest.fixture
def survey(scene: Scene) -> Survey:
    return scene.survey()


@pytest.fixture
def visitor(cast: Any) -> Visitor:
    visitor = Visitor()
    visitor.force_login(cast.owner)
    return visitor


@pytest.mark.parametrize(
    ("requested", "status", "expected"),
    [
        ("from=2026-10-06T09:30:20%2B02:00", 200, "60 of 80"),
        ("to=2026-10-06T09:30:19%2B02:00", 200, "20 of 80"),
        ("from=2031-01-01T00:00:00", 200, "0 of 80"),
        ("to=2001-01-01T00:00:00", 200, "0 of 80"),
        ("from=9999-12-31T23:59:59", 400, "80 of 80"),
        ("to=0001-01-01T00:00:00", 400, "80 of 80"),
        ("from=2026-10-06T10:00:00&to=2026-10-06T09:00:00", 400, "80 of 80"),
        ("from=%00", 400, "cannot be read"),
    ],
)
def test_any_requested_time_range_has_a_response(
    visitor: Visitor, survey: Survey, requested: str, status: int, expected: str
) -> None:
    answer = visitor.get(f"/surveys/{survey.pk}/?{requested}")
    assert answer.status_code == status
    assert expected in answer.content.decode()


@pytest.mark.parametrize("address", ["/sites/?q=%00", "/sites/?page=x", "/sites/?page=-1"])
def test_no_search_is_a_fault_of_ours(visitor: Visitor, survey: Survey, address: str) -> None:
    assert visitor.get(address).status_code in (200, 400)


def test_the_page_of_several_paths_shows_the_mean_before_the_single_path(
    visitor: Visitor, scene: Scene
) -> None:
    first = logged(mounted(scene, Mounting(path_angle_deg=0)))
    second = logged(mounted(scene, Mounting(primary_survey=first, path_angle_deg=90)), 187)
    mean = paths_result(first)
    assert mean is not None
    expected = [
        flow_with_uncertainty(one.volume_flow_m3_s, one.expanded_uncertainty_m3_s, "metric")
        for one in (mean, current(second))
    ]
    page = visitor.get(f"/surveys/{second.pk}/").content.decode()
    assert 0 < page.index(expected[0]) < page.index("This path alone") < page.index(expected[1])
    assert "profile is probably asymmetric" in page


def test_the_site_meter_is_held_against_the_mean_of_all_paths(
    as_user: Any, visitor: Visitor, scene: Scene
) -> None:
    first = logged(mounted(scene, Mounting(path_angle_deg=0)))
    logged(mounted(scene, Mounting(primary_survey=first, path_angle_deg=90)), 187)
    mean = paths_result(first)
    assert mean is not None
    body = {"meter": "FT-101", "volume_flow": "140 m3/h", "relative_expanded_uncertainty": 0.02}
    stated = as_user("office").post(f"/api/v1/surveys/{first.pk}/site-meter-readings/", body).json()
    difference = stated["comparison"]["difference"]["value"]
    assert difference == pytest.approx(mean.volume_flow_m3_s * 3600 - 140)
    assert f"En = {stated['comparison']['en']:.2f}" in visitor.get(f"/surveys/{first.pk}/").content.decode()
