"""Permissions of roles: one table for every kind of record."""

from __future__ import annotations

from typing import Any

import pytest

from surveys.api.urls import router

pytestmark = pytest.mark.django_db

READERS = ("owner", "technician", "office", "calibration_admin", "administrator")
OFFICE = {"office", "administrator"}
FIELD = OFFICE | {"technician"}
FLEET = {"calibration_admin", "administrator"}
# Who may add a record; a role not named gets 403, a stranger to the service 401.
WRITERS: dict[str, set[str]] = {
    "clients": OFFICE,
    "sites": OFFICE,
    "pipes": FIELD,
    "measuring-points": FIELD,
    "instruments": OFFICE | FLEET,
    "calibrations": FLEET,
    "acceptance-policies": FLEET,
    "error-correction-policies": FLEET,
    "interval-policies": FLEET,
    "calendar-feeds": FIELD | FLEET,
    "instrument-types": OFFICE | FLEET,
    "interval-reviews": FLEET,
    "out-of-tolerance-reviews": set(),
    "custom-materials": OFFICE,
    "custom-media": OFFICE,
    "technicians": set(),
    "jobs": OFFICE,
    "bookings": OFFICE,
    "dispatch/plans": OFFICE,
    "log-formats": FIELD,
    "surveys": FIELD,
    "combinations": FIELD,
    "reports": set(),
    "results": set(),
    "notices": set(),
    "recomputations": set(),
    "users": {"administrator"},
    "invitations": OFFICE,
    "tokens": set(READERS),
    "audit": set(),
}


def test_the_table_names_every_kind_of_record() -> None:
    assert set(WRITERS) == {prefix for prefix, _, _ in router.registry}


@pytest.mark.parametrize("record", sorted(WRITERS))
@pytest.mark.parametrize("who", READERS)
def test_a_role_adds_the_permissions_of_the_table_only(as_user: Any, record: str, who: str) -> None:
    status = as_user(who).post(f"/api/v1/{record}/", {}, format="json").status_code
    # An empty body gets past the permission to be refused for what it lacks.
    expected = {400, 405} if who in WRITERS[record] else {403, 405}
    assert status in expected


@pytest.mark.parametrize("record", sorted(WRITERS))
def test_reading_and_writing_require_sign_in(as_user: Any, record: str) -> None:
    nobody = as_user("nobody")
    assert nobody.get(f"/api/v1/{record}/").status_code == 401
    assert nobody.post(f"/api/v1/{record}/", {}, format="json").status_code == 401


@pytest.mark.parametrize("record", sorted(WRITERS))
def test_a_stranger_sees_none_of_the_others_records(
    as_user: Any, kit: Any, site: Any, cast: Any, record: str
) -> None:
    from tests.surveys.scene import make_scene

    scene = make_scene(site, cast, kit)
    scene.survey()
    scene.correct(0.008)
    rows = as_user("stranger").get(f"/api/v1/{record}/").json()["results"]
    assert [row for row in rows if row["id"] != str(cast.other_client.pk)] == []
    assert as_user("owner").get(f"/api/v1/{record}/").status_code == 200


def test_a_technician_sees_the_sites_of_their_jobs_and_no_others(as_user: Any, site: Any, cast: Any) -> None:
    from datetime import timedelta

    from django.utils import timezone

    from surveys.models import Job

    technician = as_user("technician")
    assert technician.get("/api/v1/sites/").json()["results"] == []
    now = timezone.now()
    Job.objects.create(
        site=site, title="x", starts_at=now, ends_at=now + timedelta(hours=2), technician=cast.technician
    )
    assert [row["id"] for row in technician.get("/api/v1/sites/").json()["results"]] == [str(site.pk)]
    assert [row["name"] for row in technician.get("/api/v1/clients/").json()["results"]] == [cast.client.name]
