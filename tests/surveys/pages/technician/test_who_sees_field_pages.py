"""Access to the technician's pages, and their live responses without a browser."""

from __future__ import annotations

import json
from datetime import timedelta
from typing import Any

import pytest
from django.test import Client as Visitor
from django.utils import timezone

from surveys.models import Job, MeasuringPoint, Pipe
from surveys.models.job import JobState
from tests.conftest import person
from tests.surveys.scene import Scene, make_scene

PARTS = ("", "wall/", "survey/")


@pytest.fixture
def work(site: Any, cast: Any, kit: Any) -> Scene:
    records = make_scene(site, cast, kit)
    now = timezone.now()
    job = Job.objects.create(
        site=site, title="Survey", state=JobState.PLANNED, starts_at=now, ends_at=now + timedelta(minutes=1),
        technician=cast.technician,
    )  # fmt: skip
    job.measuring_points.set([records.point])
    return records


def visitor(user: Any) -> Visitor:
    client = Visitor()
    client.force_login(user, backend="surveys.services.people.sign_in.PeopleBackend")
    return client


def sheet(work: Scene, **more: Any) -> dict[str, str]:
    return {"sheet": json.dumps({"transducers": {"instrument": str(work.kit.pair.pk)}, **more})}


@pytest.mark.parametrize("part", PARTS)
def test_the_technician_of_a_job_and_the_office_open_the_pages_of_its_points(work: Scene, part: str) -> None:
    for user in (work.cast.technician, work.cast.office):
        assert visitor(user).get(f"/field/points/{work.point.pk}/{part}").status_code == 200


@pytest.mark.parametrize("part", PARTS)
def test_to_others_a_point_is_not_there(work: Scene, part: str) -> None:
    elsewhere = person("elsewhere", "technician")
    for user in (elsewhere, work.cast.owner, work.cast.stranger, work.cast.calibration_admin):
        assert visitor(user).get(f"/field/points/{work.point.pk}/{part}").status_code == 404


def test_other_users_do_not_see_the_result_of_a_log(work: Scene) -> None:
    address = f"/field/surveys/{work.survey().pk}/result/"
    assert "±" in visitor(work.cast.technician).get(address).content.decode()
    for user in (person("elsewhere", "technician"), work.cast.owner, work.cast.stranger):
        assert visitor(user).get(address).status_code == 404


@pytest.mark.parametrize("part", ["answer/", "wall/answer/"])
def test_other_users_get_no_response_about_a_point(work: Scene, part: str) -> None:
    elsewhere = visitor(person("elsewhere", "technician"))
    assert elsewhere.post(f"/field/points/{work.point.pk}/{part}", sheet(work)).status_code == 404


def test_who_has_not_signed_in_is_led_to_do_so(work: Scene) -> None:
    answer = Visitor().get(f"/field/points/{work.point.pk}/")
    assert answer.status_code == 302
    assert answer["Location"].startswith("/sign-in/")


def test_the_day_of_a_client_viewer_is_not_there(work: Scene) -> None:
    assert visitor(work.cast.owner).get("/field/").status_code == 404


def test_the_live_response_agrees_with_the_stored_set_up(work: Scene) -> None:
    technician = visitor(work.cast.technician)
    shown = technician.post(f"/field/points/{work.point.pk}/answer/?units=us", sheet(work, traverses=2))
    kept = technician.post(
        f"/api/v1/measuring-points/{work.point.pk}/setups/?units=us",
        {"transducers": str(work.kit.pair.pk), "traverses": 2},
        content_type="application/json",
    ).json()
    assert f"{kept['spacing']['value']:.3f}\N{NO-BREAK SPACE}in" in shown.content.decode()


def test_an_invalid_worksheet_is_rejected_with_the_reason(work: Scene) -> None:
    technician = visitor(work.cast.technician)
    for sent in ("", "[", "[]", "3", json.dumps({"pipe": 1}), json.dumps({"transducers": {}, "odd": 1})):
        answer = technician.post(f"/field/points/{work.point.pk}/answer/", {"sheet": sent})
        assert answer.status_code == 400
        assert "data-field" in answer.content.decode()


def test_the_page_reports_that_no_beam_passes(work: Scene) -> None:
    medium = {"sound_speed": "5000 m/s", "density": "1000 kg/m3", "dynamic_viscosity": "1 mPa.s"}
    sent = sheet(work, medium=medium, traverses=2)
    answer = visitor(work.cast.technician).post(f"/field/points/{work.point.pk}/answer/", sent)
    assert answer.status_code == 400
    assert "data-field" in answer.content.decode()


def test_the_page_reports_a_pipe_without_data(work: Scene) -> None:
    bare = Pipe.objects.create(site=work.pipe.site, name="Bare")
    point = MeasuringPoint.objects.create(pipe=bare, name="Bare point")
    technician = visitor(work.cast.technician)
    assert "No pipe data have been entered" in technician.get(f"/field/points/{point.pk}/").content.decode()
    assert technician.post(f"/field/points/{point.pk}/answer/", sheet(work)).status_code == 409


def test_the_worker_reaches_these_pages_and_no_further(client: Visitor) -> None:
    answer = client.get("/field/worker.js")
    assert answer["Content-Type"] == "text/javascript"
    assert "Service-Worker-Allowed" not in answer


def test_frequent_requests_are_throttled_as_in_the_api(
    work: Scene, settings: Any, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setitem(settings.THROTTLE_RATES, "compute-user", "1/min")
    technician = visitor(work.cast.technician)
    answers = [technician.post(f"/field/points/{work.point.pk}/answer/", sheet(work)) for _ in range(2)]
    assert [one.status_code for one in answers] == [200, 429]
    assert int(answers[1]["Retry-After"]) > 0


def test_a_part_of_a_page_is_not_replaced_by_the_page_to_sign_in(work: Scene) -> None:
    answer = Visitor().post(
        f"/field/points/{work.point.pk}/answer/", sheet(work), headers={"HX-Request": "true"}
    )
    assert answer.status_code == 401
