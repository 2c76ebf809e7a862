"""Audit log: author of each change, and entries that never change."""

from __future__ import annotations

from datetime import UTC, datetime, timedelta
from typing import Any

import pytest
from django.db import IntegrityError, transaction
from django.db.models import ProtectedError
from django.urls import reverse
from django.utils import timezone

from surveys.api.urls import router
from surveys.models import (
    AuditEntry,
    Booking,
    Client,
    Combination,
    Instrument,
    InstrumentType,
    Job,
    LogFormat,
    TechnicianProfile,
    User,
)
from surveys.models.audit import Action
from surveys.services.people.calendar_feeds import calendar_feed_make, calendar_feed_open
from tests.surveys.people.routes import routes
from tests.surveys.scene import make_scene
from tests.surveys.surveys.test_log_formats import LAYOUT

pytestmark = pytest.mark.django_db

AUDIT = "/api/v1/audit/"


def test_a_change_has_user_record_time_and_values_before_and_after(
    as_user: Any, cast: Any, site: Any
) -> None:
    before = timezone.now()
    as_user("office").patch(f"/api/v1/sites/{site.pk}/", {"address": "1 Kiln Lane"}, format="json")
    [entry] = as_user("office").get(AUDIT, {"record": str(site.pk)}).json()["results"]
    assert (entry["action"], entry["record_type"], entry["record_name"]) == ("changed", "site", site.name)
    assert (entry["actor"], entry["actor_name"]) == (str(cast.office.pk), "office")
    assert (entry["before"], entry["after"]) == ({"address": ""}, {"address": "1 Kiln Lane"})
    assert before <= datetime.fromisoformat(entry["at"]) <= timezone.now()


def test_a_rejected_change_or_one_without_effect_is_not_in_the_log(as_user: Any, site: Any) -> None:
    office = as_user("office")
    office.patch(f"/api/v1/sites/{site.pk}/", {"name": site.name}, format="json")
    office.patch(f"/api/v1/sites/{site.pk}/", {"time_zone": "Nowhere/Else"}, format="json")
    assert not AuditEntry.objects.exists()


def test_relations_of_a_job_are_in_the_log_too(as_user: Any, cast: Any, site: Any, kit: Any) -> None:
    office, start = as_user("office"), datetime(2026, 10, 6, tzinfo=UTC)
    body = {
        "site": str(site.pk),
        "title": "x",
        "starts_at": start.isoformat(),
        "ends_at": start.replace(hour=4).isoformat(),
    }
    job = office.post("/api/v1/jobs/", body, format="json").json()
    created = AuditEntry.objects.get(record=job["id"])
    assert (created.action, created.after["title"], created.after["kit"]) == ("created", "x", [])
    office.patch(f"/api/v1/jobs/{job['id']}/", {"kit": [str(kit.meter.pk)]}, format="json")
    changed = AuditEntry.objects.get(record=job["id"], action="changed")
    assert (changed.before, changed.after) == ({"kit": []}, {"kit": [str(kit.meter.pk)]})
    assert Job.objects.get().kit.count() == 1


# Every address by which people change a plain record, with a change it takes.
PATCHES: dict[str, dict[str, Any]] = {
    "clients": {"notice_threshold": 0.02},
    "sites": {"address": "2 Kiln Lane"},
    "pipes": {"description": "by the door"},
    "measuring-points": {"description": "by the door"},
    "instruments": {"note": "scratched"},
    "instrument-types": {"note": "the grey ones"},
    "jobs": {"title": "another"},
    "bookings": {"starts_at": "2030-01-07T08:00:00Z", "ends_at": "2030-01-07T09:00:00Z"},
    "technicians": {"time_zone": "Europe/Copenhagen"},
    "log-formats": {"name": "another"},
    "combinations": {"name": "another"},
    "users": {"is_active": False},
}


def test_the_table_names_every_kind_of_record_that_is_changed() -> None:
    changed = {prefix for prefix, view, _ in router.registry if hasattr(view, "partial_update")}
    assert set(PATCHES) == changed


def test_a_patch_of_each_kind_of_record_is_in_the_log(as_user: Any, cast: Any, site: Any, kit: Any) -> None:
    scene, now = make_scene(site, cast, kit), timezone.now()
    job = Job.objects.create(site=site, title="x", starts_at=now, ends_at=now + timedelta(hours=1))
    held = {"booked_by": cast.office, "booked_at": now, "starts_at": now, "ends_at": now + timedelta(hours=1)}
    records = {"created_by": cast.office, "created_at": now}
    rows = {
        "clients": cast.client,
        "sites": site,
        "pipes": scene.pipe,
        "measuring-points": scene.point,
        "instruments": kit.meter,
        "instrument-types": InstrumentType.objects.create(kind="meter", name="Portable"),
        "jobs": job,
        "bookings": Booking.objects.create(job=job, technician=cast.technician, **held),
        "log-formats": LogFormat.objects.create(name="x", format=LAYOUT, **records),
        "combinations": Combination.objects.create(site=site, name="x", kind="mean", **records),
        "technicians": TechnicianProfile.objects.create(id=cast.technician.pk, technician=cast.technician),
        "users": cast.technician,
    }
    for name, change in PATCHES.items():
        answer = as_user("administrator").patch(f"/api/v1/{name}/{rows[name].pk}/", change, format="json")
        assert answer.status_code == 200, answer.content
        entry = AuditEntry.objects.filter(record=rows[name].pk, action="changed").latest("at")
        for field in change:
            assert entry.after[field] == change[field] != entry.before[field], name


def test_a_change_in_the_admin_is_in_the_log_as_from_the_api(client: Any, cast: Any, site: Any) -> None:
    cast.administrator.is_staff = cast.administrator.is_superuser = True
    cast.administrator.save()
    client.force_login(cast.administrator)
    form = {
        "client": str(cast.client.pk),
        "name": "Renamed",
        "time_zone": "UTC",
        "address": "",
        "access_notes": "",
    }
    answer = client.post(reverse("admin:surveys_site_change", args=[site.pk]), form)
    assert answer.status_code == 302, answer.content
    entry = AuditEntry.objects.get(record=site.pk)
    assert (entry.actor_name, entry.after["name"]) == ("administrator", "Renamed")
    added = client.post(
        reverse("admin:surveys_client_add"), {"name": "Third", "contact": "", "notice_threshold": "0.01"}
    )
    assert added.status_code == 302
    third = Client.objects.get(name="Third")
    assert AuditEntry.objects.get(record=third.pk).action == "created"


def test_changes_of_personal_notes_are_logged_without_the_text(as_user: Any, cast: Any) -> None:
    as_user("office").patch(f"/api/v1/clients/{cast.client.pk}/", {"contact": "Una, 555 0100"}, format="json")
    entry = AuditEntry.objects.get(record=cast.client.pk)
    assert (entry.before, entry.after) == ({"contact": "(not kept)"}, {"contact": "(not kept)"})


FILES = {
    "instruments/calibration-due/?format=csv": "text/csv",
    "instruments/calibration-due/?format=ics": "text/calendar",
    "instruments/{meter}/label.pdf": "application/pdf",
    "surveys/{survey}/readings/?format=csv": "text/csv",
    "surveys/{survey}/readings/?format=parquet": "application/vnd.apache.parquet",
}


def test_a_file_given_out_is_in_the_log(as_user: Any, cast: Any, site: Any, kit: Any) -> None:
    survey = make_scene(site, cast, kit).survey()
    for path, kind in FILES.items():
        answer = as_user("office").get("/api/v1/" + path.format(meter=kit.meter.pk, survey=survey.pk))
        assert answer.status_code == 200
        b"".join(answer.streaming_content if answer.streaming else [answer.content])
        entry = AuditEntry.objects.filter(action=Action.EXPORTED).latest("at")
        assert (entry.actor_name, entry.after["type"]) == ("office", kind)
        assert entry.record in {None, kit.meter.pk, survey.pk}
        assert entry.after["route"].startswith("api/v1/")
    assert AuditEntry.objects.filter(action=Action.EXPORTED).count() == len(FILES)


def test_the_token_of_a_calendar_feed_is_not_in_the_log(as_user: Any, client: Any, cast: Any) -> None:
    records = as_user("office").post("/api/v1/calendar-feeds/", {"label": "x"}, format="json").json()
    client.force_login(cast.office)
    assert client.get(f"/api/v1/calendar-feeds/{records['token']}.ics").status_code == 200
    assert records["token"] not in str(list(AuditEntry.objects.values()))


def test_the_use_of_a_calendar_feed_is_noted_and_in_the_log_once_a_day(cast: Any) -> None:
    noon = datetime(2026, 10, 6, 12, tzinfo=UTC)
    feed, token = calendar_feed_make(owner=cast.office, now=noon, label="x")
    for hours in (0, 1, 2, 25, 26):
        assert calendar_feed_open(token, noon + timedelta(hours=hours)) == feed
    feed.refresh_from_db()
    assert feed.last_used_at == noon + timedelta(hours=26)
    entries = AuditEntry.objects.filter(action=Action.EXPORTED, record=feed.pk)
    assert [one.actor_name for one in entries] == ["office", "office"]


def test_it_is_read_by_record_person_action_and_time_page_by_page(as_user: Any, cast: Any, site: Any) -> None:
    office = as_user("office")
    for number in range(5):
        office.patch(f"/api/v1/sites/{site.pk}/", {"address": f"{number} Kiln Lane"}, format="json")
    as_user("administrator").patch(f"/api/v1/clients/{cast.client.pk}/", {"name": "Renamed"}, format="json")
    for query, count in (
        ({"actor": str(cast.office.pk)}, 5),
        ({"record_type": "client"}, 1),
        ({"action": "exported"}, 0),
        ({"from": timezone.now().isoformat()}, 0),
        ({"to": timezone.now().isoformat(), "ordering": "at"}, 6),
    ):
        assert len(office.get(AUDIT, query).json()["results"]) == count, query
    seen, path = [], f"{AUDIT}?page_size=4"
    while path:
        page = office.get(path).json()
        seen += [row["id"] for row in page["results"]]
        path = page["next"]
    assert len(seen) == len(set(seen)) == 6


def test_it_is_the_offices_alone(as_user: Any, site: Any) -> None:
    as_user("office").patch(f"/api/v1/sites/{site.pk}/", {"address": "x"}, format="json")
    entry = AuditEntry.objects.get()
    for who in ("owner", "colleague", "stranger", "technician", "calibration_admin"):
        assert as_user(who).get(f"{AUDIT}{entry.pk}/").status_code == 404
        assert as_user(who).get(AUDIT).json()["results"] == []
    assert as_user("nobody").get(f"{AUDIT}{entry.pk}/").status_code == 401


def test_an_entry_is_never_changed(as_user: Any, cast: Any, site: Any) -> None:
    as_user("office").patch(f"/api/v1/sites/{site.pk}/", {"address": "x"}, format="json")
    others = {
        "action": "deactivated",
        "at": timezone.now(),
        "before": {},
        "actor": cast.owner.pk,
        "record": None,
    }
    for column, value in others.items():
        with pytest.raises(IntegrityError, match="append-only"), transaction.atomic():
            AuditEntry.objects.update(**{column: value})


def test_no_address_changes_or_deletes_an_entry_and_no_query_does(as_user: Any, site: Any) -> None:
    as_user("administrator").patch(f"/api/v1/sites/{site.pk}/", {"address": "x"}, format="json")
    entry = AuditEntry.objects.get()
    for method in ("put", "patch", "delete", "post"):
        answer = getattr(as_user("administrator"), method)(f"{AUDIT}{entry.pk}/", {}, format="json")
        assert answer.status_code in {403, 405}
    assert [route for route in routes() if "audit" in route] == ["api/v1/audit/", "api/v1/audit/<uuid:pk>/"]
    with pytest.raises(ProtectedError):
        AuditEntry.objects.all().delete()


def test_it_survives_the_users_removal(as_user: Any, cast: Any, site: Any) -> None:
    as_user("office").patch(f"/api/v1/sites/{site.pk}/", {"address": "x"}, format="json")
    gone = cast.office.pk
    User.objects.get(pk=gone).delete()
    entry = AuditEntry.objects.get()
    assert (entry.actor, entry.actor_name) == (gone, "office")


def test_records_with_their_own_history_have_no_second_copy(
    as_user: Any, cast: Any, site: Any, kit: Any
) -> None:
    scene = make_scene(site, cast, kit)
    scene.survey()
    scene.correct(0.008)
    kinds = set(AuditEntry.objects.values_list("record_type", flat=True))
    assert not kinds & {"pipe-data", "result", "survey-data", "calibration", "transducer-data"}
    assert "pipe" in kinds


def test_reading_the_log_costs_the_same_for_two_entries_as_for_fifty(
    as_user: Any, cast: Any, django_assert_num_queries: Any
) -> None:
    for count in (2, 50):
        AuditEntry.objects.bulk_create(
            AuditEntry(at=timezone.now(), action=Action.CHANGED, record_type="site") for _ in range(count)
        )
        with django_assert_num_queries(1):
            as_user("office").get(AUDIT)


def test_a_service_without_a_request_writes_without_a_user(cast: Any, kit: Any) -> None:
    entry = AuditEntry.objects.filter(record_type="instrument", action="created").first()
    assert entry is not None
    assert (entry.actor, entry.actor_name) == (None, "")
    assert Instrument.objects.filter(pk=entry.record).exists()
