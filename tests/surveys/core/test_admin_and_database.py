"""The stock admin over the records, and the database as the settings ask for it."""

from __future__ import annotations

import html
import re
import runpy
from datetime import timedelta
from pathlib import Path
from typing import Any

import pytest
from django.contrib import admin
from django.db import IntegrityError, connection, transaction
from django.urls import reverse
from django.utils import timezone

from compute.base.messages import day, message
from surveys.commands.demo import scenario
from surveys.models import InstrumentState, Job, JobStatusChange, PipeData, Recomputation, Result
from surveys.models.reasons import system_reason
from surveys.models.result import Cause
from surveys.services.fleet.instruments import InstrumentLocation, instrument_state_change
from tests.surveys.scene import current, make_scene

pytestmark = pytest.mark.django_db

OURS = sorted(admin.site._registry, key=lambda model: model.__name__)


@pytest.fixture
def pages(client: Any, cast: Any) -> Any:
    """A browser with the administrator signed in."""
    cast.administrator.is_staff = cast.administrator.is_superuser = True
    cast.administrator.save()
    client.force_login(cast.administrator)
    return client


@pytest.mark.parametrize("model", OURS, ids=lambda model: model.__name__)
def test_every_list_of_the_admin_opens_and_can_be_searched(
    pages: Any, site: Any, cast: Any, kit: Any, model: Any
) -> None:
    make_scene(site, cast, kit).survey()
    address = reverse(f"admin:{model._meta.app_label}_{model._meta.model_name}_changelist")
    assert pages.get(address).status_code == 200
    assert pages.get(address, {"q": "line"}).status_code == 200


@pytest.mark.parametrize("model", [PipeData, Result])
def test_immutable_records_are_shown_without_change_or_deletion(
    pages: Any, site: Any, cast: Any, kit: Any, model: Any
) -> None:
    survey = make_scene(site, cast, kit).survey()
    row = current(survey) if model is Result else current(survey).pipe_data
    address = reverse(f"admin:surveys_{model._meta.model_name}_change", args=[row.pk])
    page = pages.get(address)
    assert page.status_code == 200
    assert b'name="_save"' not in page.content
    assert pages.post(address, {}).status_code == 403
    assert pages.post(address.replace("change", "delete"), {"post": "yes"}).status_code == 403


def test_the_admin_shows_reasons_as_text_and_not_as_json(pages: Any, cast: Any, kit: Any) -> None:
    now = timezone.now()
    to = InstrumentLocation(kit.meter.state, "Shelf 3", None)
    instrument_state_change(instrument=kit.meter, to=to, reason="“New” shelf.", by=cast.office, now=now)
    reason = system_reason(message("certificate-recorded", certificate="HR-1", on=day(now.date())))
    run = Recomputation.objects.create(
        cause=Cause.CALIBRATION,
        calibration=kit.meter.calibrations.get(),
        reason=reason,
        requested_by=cast.office,
        requested_at=now,
    )
    for record, text in (
        (kit.meter, "“New” shelf."),
        (run, f"Certificate HR-1 of {now.date()} is recorded."),
    ):
        address = reverse(f"admin:surveys_{record._meta.model_name}_change", args=[record.pk])
        page = html.unescape(pages.get(address).content.decode())
        assert re.search(rf">\s*{re.escape(text)}\s*<", page)
        assert "certificate-recorded" not in page


def test_the_database_rejects_a_change_of_state_without_a_reason(site: Any, cast: Any, kit: Any) -> None:
    now = timezone.now()
    job = Job.objects.create(site=site, title="Survey", starts_at=now, ends_at=now + timedelta(hours=1))
    with pytest.raises(IntegrityError, match="job_status_change_has_reason"), transaction.atomic():
        JobStatusChange.objects.create(
            job=job, before="draft", state="planned", reason="", changed_by=cast.office, changed_at=now
        )
    state = InstrumentState(instrument=kit.meter, state=kit.meter.state, recorded_by=cast.office)
    state.recorded_at, state.reason = now, ""
    with pytest.raises(IntegrityError, match="instrument_state_has_reason"), transaction.atomic():
        state.save()
    state.reason = system_reason(message("first-entry"))
    state.save()
    assert InstrumentState.objects.get(pk=state.pk).reason == {"code": "first-entry", "parameters": {}}


def test_people_without_the_right_see_no_admin(client: Any, cast: Any) -> None:
    client.force_login(cast.office)
    assert client.get("/admin/").status_code == 302


def test_sqlite_writes_ahead_waits_for_its_turn_and_locks_at_once() -> None:
    if connection.vendor == "postgresql":
        assert connection.settings_dict["OPTIONS"]["server_side_binding"] is True
        return
    with connection.cursor() as cursor:
        cursor.execute("PRAGMA journal_mode")
        assert cursor.fetchone()[0] == "wal"
        cursor.execute("PRAGMA busy_timeout")
        assert cursor.fetchone()[0] >= 10_000
    assert connection.transaction_mode == "IMMEDIATE"


def near(cell: str) -> object:
    """A number to its last decimal but one: another machine may round the last one otherwise."""
    try:
        return pytest.approx(float(cell), abs=2e-3) if cell != "NaN" else cell
    except ValueError:
        return cell


def test_the_demos_log_agrees_with_its_script(tmp_path: Path) -> None:
    records = tmp_path / "log.csv"
    script = runpy.run_path(str(Path(__file__).parents[3] / "fixtures" / "make_demo_log.py"))
    script["main"](records)
    ours, kept = (file.read_text(encoding="utf-8").splitlines() for file in (records, scenario.LOG_FILE))
    assert len(ours) == len(kept)
    for one, other in zip(ours, kept, strict=True):
        assert [near(cell) for cell in one.split(",")] == [near(cell) for cell in other.split(",")]


def test_the_demos_log_is_over_an_hour_long() -> None:
    lines = scenario.LOG_FILE.read_text(encoding="utf-8").splitlines()
    assert len(lines) - 1 == scenario.SECONDS_LOGGED >= 3600
