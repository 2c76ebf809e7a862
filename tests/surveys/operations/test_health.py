"""Probes: alive, ready or the failed part, and metrics for users with the token."""

from __future__ import annotations

from datetime import date, timedelta
from typing import Any

import pytest
from django.db import DatabaseError, connection
from django.test import Client as Browser
from django.utils import timezone
from redis import Redis

from surveys.operations import metrics, readiness
from surveys.operations.broker_health import LAST_SWEEP, swept
from tests.needs import REDIS_URL
from tests.surveys.drills.processes import free_port
from tests.surveys.fleet.test_error_correction import certify
from tests.surveys.scene import make_scene

TOKEN = "0123456789abcdef0123456789abcdef"


def ask(address: str, **headers: str) -> Any:
    return Browser(headers=headers).get(address, SERVER_NAME="10.1.2.3")


def samples(settings: Any) -> dict[str, float]:
    settings.METRICS_TOKEN = TOKEN
    answer = ask("/metrics", authorization=f"Bearer {TOKEN}")
    assert answer.status_code == 200
    rows = (line.rsplit(" ", 1) for line in answer.content.decode().splitlines() if line[0] != "#")
    return {name: float(value) for name, value in rows}


def test_alive_is_answered_without_any_query_whatever_the_host_and_the_scheme(settings: Any) -> None:
    # Without the mark for it, a test that touches the database fails.
    settings.SECURE_SSL_REDIRECT = True
    answer = ask("/healthz")
    assert (answer.status_code, answer.json()) == (200, {"alive": True})


@pytest.mark.django_db
def test_readiness_without_a_broker_checks_the_database_and_its_migrations(settings: Any) -> None:
    settings.SECURE_SSL_REDIRECT = True
    answer = ask("/readyz")
    assert (answer.status_code, answer.json()) == (200, {"ready": True, "failed": []})


@pytest.mark.django_db
def test_an_unapplied_migration_is_reported_and_applied_ones_are_checked_once(
    monkeypatch: pytest.MonkeyPatch, django_assert_num_queries: Any
) -> None:
    monkeypatch.setattr(readiness, "_migrated", set())
    with connection.cursor() as cursor:
        cursor.execute("DELETE FROM django_migrations WHERE app = 'surveys'")
    answer = ask("/readyz")
    assert (answer.status_code, answer.json()) == (503, {"ready": False, "failed": ["migrations"]})
    with connection.cursor() as cursor:
        cursor.execute(
            "INSERT INTO django_migrations (app, name, applied) VALUES ('surveys', '0002_records', CURRENT_TIMESTAMP)"
        )
    assert ask("/readyz").status_code == 200
    with django_assert_num_queries(1):
        assert ask("/readyz").status_code == 200


@pytest.mark.django_db
def test_a_failed_database_is_reported_by_name_only(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    def fail() -> str:
        raise DatabaseError("connection to 10.9.8.7 as surveys refused")

    monkeypatch.setattr(readiness, "_database", fail)
    answer = ask("/readyz")
    assert (answer.status_code, answer.json()) == (503, {"ready": False, "failed": ["database"]})


@pytest.mark.django_db
def test_a_broker_that_is_down_fails_with_its_sweep(settings: Any) -> None:
    settings.CELERY_BROKER_URL = f"redis://127.0.0.1:{free_port()}/0"
    answer = ask("/readyz")
    assert (answer.status_code, answer.json()["failed"]) == (503, ["broker", "sweep"])


@pytest.mark.django_db
@pytest.mark.needs_redis
def test_an_old_sweep_is_reported_and_a_recent_one_is_not(settings: Any) -> None:
    settings.CELERY_BROKER_URL = REDIS_URL
    with Redis.from_url(REDIS_URL) as broker:
        broker.delete(LAST_SWEEP)
        assert ask("/readyz").json()["failed"] == ["sweep"]
        broker.set(LAST_SWEEP, "2026-01-01T00:00:00+00:00")
        assert ask("/readyz").json()["failed"] == ["sweep"]
        swept(timezone.now())
        assert ask("/readyz").status_code == 200


@pytest.mark.django_db
@pytest.mark.parametrize("given", ["", "Bearer ", f"Bearer {TOKEN}x", f"Token {TOKEN}", "Bearer \u00e9"])
def test_metrics_are_not_there_without_the_token(settings: Any, given: str) -> None:
    for token in ("", TOKEN):
        settings.METRICS_TOKEN = token
        assert Browser().get("/metrics", headers={"authorization": given}).status_code == 404
    assert Browser().post("/metrics").status_code == 404


def test_a_short_token_stops_the_start() -> None:
    from tests.surveys.operations.test_processes import manage

    answer = manage("check", METRICS_TOKEN="short")
    assert answer.returncode != 0
    assert "METRICS_TOKEN is too short. Enter at least 32 random characters" in answer.stderr


def test_metrics_count_requests_backlog_and_overdue_instruments(
    site: Any, cast: Any, kit: Any, settings: Any, monkeypatch: pytest.MonkeyPatch
) -> None:
    scene = make_scene(site, cast, kit)
    certify(scene)
    scene.survey()
    before = samples(settings)
    run = scene.correct(0.008)
    run.items.update(run_after=timezone.now() - timedelta(seconds=90))
    monkeypatch.setattr(metrics, "office_today", lambda now: date(2040, 1, 1))
    Browser().get("/sign-in/")
    after = samples(settings)
    backlog = 'surveys_recomputation_backlog{state="waiting"}'
    assert (before[backlog], after[backlog]) == (0, 1)
    assert 90 <= after["surveys_queue_age_seconds"] < 600
    requested = (
        'django_http_responses_total_by_status_view_method_total{method="GET",status="200",view="sign-in"}'
    )
    assert after[requested] == before.get(requested, 0) + 1
    assert after["surveys_database_up"] == 1
    overdue = 'surveys_instruments{status="overdue"}'
    assert (before[overdue], after[overdue]) == (0, 3)


@pytest.mark.django_db
def test_metrics_report_a_broker_that_is_down(settings: Any) -> None:
    settings.CELERY_BROKER_URL = f"redis://127.0.0.1:{free_port()}/0"
    assert samples(settings)["surveys_broker_up"] == 0
