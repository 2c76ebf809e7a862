"""Notices to clients of changed results."""

from __future__ import annotations

from typing import Any

import pytest

from surveys.models import Notice
from surveys.results import recalculation
from tests.surveys.scene import Scene, current, make_scene

pytestmark = pytest.mark.django_db


@pytest.fixture
def scene(site: Any, cast: Any, kit: Any) -> Scene:
    records = make_scene(site, cast, kit)
    records.survey()
    return records


def correct(scene: Scene, wall: float) -> None:
    recalculation.recomputation_run(scene.correct(wall).pk)


def test_a_client_is_notified_of_a_changed_result_and_acknowledges_the_notice(
    scene: Scene, as_user: Any
) -> None:
    correct(scene, 0.008)
    owner = as_user("owner")
    [notice] = owner.get("/api/v1/notices/").json()["results"]
    assert notice["relative_change"] == pytest.approx(
        notice["flow_after"]["value"] / notice["flow_before"]["value"] - 1
    )
    assert notice["reason"] == "Gauged."
    seen = owner.post(f"/api/v1/notices/{notice['id']}/acknowledgements/").json()
    assert seen["acknowledged_by"] == "owner"
    again = as_user("colleague").post(f"/api/v1/notices/{notice['id']}/acknowledgements/").json()
    assert again["acknowledged_by"] == "owner"


def test_a_change_below_the_clients_threshold_gives_no_notice(scene: Scene, as_user: Any, cast: Any) -> None:
    as_user("office").patch(f"/api/v1/clients/{cast.client.pk}/", {"notice_threshold": 0.5}, format="json")
    correct(scene, 0.008)
    assert Notice.objects.count() == 0


def test_a_stranger_sees_no_notice_and_the_office_acknowledges_none(scene: Scene, as_user: Any) -> None:
    correct(scene, 0.008)
    notice = Notice.objects.get()
    path = f"/api/v1/notices/{notice.pk}/acknowledgements/"
    assert as_user("stranger").post(path).status_code == 404
    assert (answer := as_user("office").post(path)).status_code == 403, answer.content
    assert as_user("office").get("/api/v1/notices/").json()["results"][0]["acknowledged_at"] is None


def test_each_change_gives_one_notice(scene: Scene) -> None:
    recomputation = scene.correct(0.008)
    recalculation.recomputation_run(recomputation.pk)
    recalculation.recomputation_run(recomputation.pk)
    [notice] = Notice.objects.all()
    assert notice.after == current(scene.point.surveys.get())
