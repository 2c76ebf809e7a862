"""Main job over the API, as in the tour of README.md with curl."""

from __future__ import annotations

from types import SimpleNamespace
from typing import Any

import pytest
from django.core.files.uploadedfile import SimpleUploadedFile

from surveys.results import recalculation

pytestmark = pytest.mark.django_db

PIPE = {"outer_diameter": "219.1 mm", "wall_thickness": "6.3 mm", "material": "carbon-steel"}
MEDIUM = {"name": "water", "temperature": "58 degC", "temperature_source": "measured", "pressure": "600 kPa"}
STARTED = "2026-10-06T09:30:00+02:00"


def post(api: Any, path: str, body: Any, status: int = 201) -> Any:
    answer = api.post(f"/api/v1/{path}", body, format="json")
    assert answer.status_code == status, answer.content
    return answer.json()


@pytest.fixture
def surveyed(as_user: Any, cast: SimpleNamespace, kit: Any, site: Any, log_bytes: bytes) -> SimpleNamespace:
    """Create a pipe with a survey and an imported log, all over the API."""
    office, technician = as_user("office"), as_user("technician")
    pipe = post(
        office, "pipes/", {"site": str(site.pk), "name": "Return line", "pipe": PIPE, "medium": MEDIUM}
    )
    point = post(
        office,
        "measuring-points/",
        {
            "pipe": pipe["id"],
            "name": "After the bend",
            "upstream_disturbance": "single-bend",
            "upstream_straight_length": "6 m",
            "downstream_straight_length": "2.5 m",
            "full_pipe": True,
        },
    )
    post(
        office,
        "jobs/",
        {
            "site": str(site.pk),
            "title": "Return line",
            "starts_at": "2026-10-06T08:00:00+02:00",
            "ends_at": "2026-10-06T13:00:00+02:00",
            "technician": str(cast.technician.pk),
            "measuring_points": [point["id"]],
        },
    )
    setup = post(
        technician,
        f"measuring-points/{point['id']}/setups/",
        {"transducers": str(kit.pair.pk), "traverses": 2, "expected_velocity": "1.2 m/s"},
    )
    survey = post(
        technician,
        "surveys/",
        {
            "measuring_point": point["id"],
            "setup": setup["id"],
            "instruments": [str(kit.meter.pk)],
            "started_at": STARTED,
            "mounted_spacing": "167.8 mm",
        },
    )
    answer = technician.post(
        f"/api/v1/surveys/{survey['id']}/log/",
        data=log_bytes,
        content_type="text/csv",
        QUERY_STRING="name=log.csv",
    )
    assert answer.status_code == 201, answer.content
    return SimpleNamespace(pipe=pipe, point=point, setup=setup, survey=survey, log=answer.json())


def test_a_log_becomes_a_result_and_a_correction_a_new_one(surveyed: SimpleNamespace, as_user: Any) -> None:
    office = as_user("office")
    [first] = office.get(f"/api/v1/surveys/{surveyed.survey['id']}/results/").json()
    answer = post(
        office,
        f"pipes/{surveyed.pipe['id']}/corrections/",
        {"reason": "Gauged: the wall is 8.0 mm.", "pipe": {"wall_thickness": "8.0 mm"}},
        status=202,
    )
    recalculation.recomputation_run(answer["recomputation"]["id"])
    newest, oldest = office.get(f"/api/v1/surveys/{surveyed.survey['id']}/results/").json()
    assert oldest["id"] == first["id"]
    assert oldest["volume_flow"] == first["volume_flow"]
    assert (oldest["current"], newest["current"]) == (False, True)
    assert newest["replaces"] == first["id"]
    assert newest["cause"] == "correction"
    # The log was made for 1.18 m/s in a bore of 219.1 - 2 x 8.0 = 203.1 mm: pi/4 0.2031^2 1.18 3600 = 137.624 m3/h.
    assert newest["volume_flow"]["value"] == pytest.approx(137.624, rel=5e-4)
    assert newest["change_breakdown"]["causes"][0]["field"] == "pipe.wall_thickness"
    assert "spacing-wrong" in newest["change_breakdown"]["new_findings"]


def test_the_log_has_counts_of_accepted_and_rejected_rows(surveyed: SimpleNamespace) -> None:
    assert (surveyed.log["rows_accepted"], surveyed.log["rows_rejected"]) == (3895, 5)
    first = surveyed.log["rejected_rows"][0]
    assert (first["line"], first["column"], first["code"]) == (419, "transit_time", "value-invalid")
    assert first["detail"] == "“----” is not a number."
    assert len(surveyed.log["sha256"]) == 64


def test_the_same_file_again_changes_nothing_and_another_is_rejected(
    surveyed: SimpleNamespace, as_user: Any, log_bytes: bytes
) -> None:
    technician, path = as_user("technician"), f"/api/v1/surveys/{surveyed.survey['id']}/log/"
    again = technician.post(path, {"file": SimpleUploadedFile("../../x.csv", log_bytes)}, format="multipart")
    assert (again.status_code, again.json()["id"]) == (200, surveyed.log["id"])
    other = technician.post(path, data=log_bytes + b"\n", content_type="text/csv")
    assert (other.status_code, other.json()["code"]) == (409, "log-exists")


def test_readings_are_downsampled_for_a_plot_or_complete_as_csv(
    surveyed: SimpleNamespace, as_user: Any
) -> None:
    owner, path = as_user("owner"), f"/api/v1/surveys/{surveyed.survey['id']}/readings/"
    thin = owner.get(path, {"points": 100}).json()
    assert thin["count"] == 3895
    assert len(thin["columns"]["time_difference"]["values"]) <= 102
    whole = owner.get(path, {"format": "csv"})
    lines = b"".join(whole.streaming_content).decode().splitlines()
    assert lines[0] == "time,transit_time [us],time_difference [ns],signal_to_noise [dB]"
    assert lines[1] == "2026-10-06T07:30:00Z,312.9802,180.321,40.6"
    assert len(lines) == 3896


def test_the_points_last_set_up_is_offered_for_the_next(surveyed: SimpleNamespace, as_user: Any) -> None:
    technician, path = as_user("technician"), f"measuring-points/{surveyed.point['id']}/setups/"
    last = technician.get(f"/api/v1/{path}last/").json()
    assert last["id"] == surveyed.setup["id"]
    following = post(technician, path, {"based_on": last["id"]})
    assert following["spacing"] == last["spacing"]
    assert following["based_on"] == last["id"]


def test_pipe_data_is_found_by_date_and_by_time_of_recording(surveyed: SimpleNamespace, as_user: Any) -> None:
    office, pipe = as_user("office"), surveyed.pipe["id"]
    before = office.get(f"/api/v1/pipes/{pipe}/data/").json()
    body = {"reason": "Gauged.", "pipe": {"wall_thickness": "8.0 mm"}}
    post(office, f"pipes/{pipe}/corrections/", body, status=202)
    now = office.get(f"/api/v1/pipes/{pipe}/data/").json()
    then = office.get(f"/api/v1/pipes/{pipe}/data/", {"known_at": before["recorded_at"]}).json()
    assert now["pipe"]["wall_thickness"] == {"value": 8.0, "unit": "mm"}
    assert then["pipe"]["wall_thickness"] == {"value": 6.3, "unit": "mm"}
    assert now["as_entered"]["pipe.outer_diameter"] == "219.1 mm"


def test_a_modification_leaves_earlier_surveys_alone(surveyed: SimpleNamespace, as_user: Any) -> None:
    office = as_user("office")
    body = {"reason": "Renewed.", "pipe": {"wall_thickness": "7.1 mm"}, "valid_from": "2026-10-07"}
    answer = post(office, f"pipes/{surveyed.pipe['id']}/modifications/", body, status=202)
    assert sum(answer["recomputation"]["counts"].values()) == 0
    assert answer["recomputation"]["state"] == "finished"
    assert len(office.get(f"/api/v1/surveys/{surveyed.survey['id']}/results/").json()) == 1


@pytest.mark.parametrize("who", ["stranger", "nobody"])
def test_other_users_do_not_see_the_survey(surveyed: SimpleNamespace, as_user: Any, who: str) -> None:
    api, expected = as_user(who), 401 if who == "nobody" else 404
    for path in ("", "results/", "readings/", "log/"):
        assert api.get(f"/api/v1/surveys/{surveyed.survey['id']}/{path}").status_code == expected
    assert api.get(f"/api/v1/pipes/{surveyed.pipe['id']}/data/").status_code == expected


def test_a_client_reads_its_own_surveys_and_writes_nothing(surveyed: SimpleNamespace, as_user: Any) -> None:
    owner = as_user("owner")
    [row] = owner.get("/api/v1/surveys/").json()["results"]
    assert row["id"] == surveyed.survey["id"]
    rejected = owner.post(f"/api/v1/pipes/{surveyed.pipe['id']}/corrections/", {"reason": "x"}, format="json")
    assert rejected.status_code == 403
