"""Every call by every kind of user: one table of responses, and no trace of invisible records."""

from __future__ import annotations

import os
from typing import Any

import pytest
from django.contrib import admin
from django.test import Client as Browser

from surveys.models import Role, User
from tests.surveys.people.access import WHO, answer, signed_in, table, walked, write_column
from tests.surveys.people.all_records import Everything
from tests.surveys.people.routes import address, calls, patterns

pytestmark = pytest.mark.django_db


@pytest.fixture
def there(cast: Any, site: Any, kit: Any) -> Everything:
    cast.idle_technician = User.objects.create_user(username="idle", role=Role.TECHNICIAN)
    return Everything(cast, site, kit)


def test_the_table_has_a_row_for_every_call_and_no_other() -> None:
    assert set(table()) == set(calls())


def test_the_table_is_sorted_and_has_no_failure_of_the_service() -> None:
    rows = table()
    assert list(rows) == sorted(rows, key=lambda call: (call[1], call[0]))
    assert {call: row for call, row in rows.items() if max(row.values()) >= 500} == {}


@pytest.mark.parametrize("who", WHO)
def test_every_call_has_the_responses_of_the_table_for_every_user(
    cast: Any, there: Everything, who: str
) -> None:
    found = walked(cast, there, who)
    if "WRITE_ACCESS_TABLE" in os.environ:
        write_column(who, found)
    assert found == {call: row[who] for call, row in table().items()}


@pytest.mark.parametrize("who", ["nobody", "stranger", "idle_technician"])
def test_an_invisible_record_has_the_response_of_a_missing_one(
    cast: Any, there: Everything, who: str
) -> None:
    rows = table()
    hidden = {route for (method, route), row in rows.items() if method == "GET" and row[who] in (401, 404)}
    calls_of_hidden = [
        (method, route)
        for method, route in rows
        if "<uuid:pk>" in route and route.partition("<uuid:pk>")[0] + "<uuid:pk>/" in hidden
    ]
    assert len(calls_of_hidden) > 60
    api = signed_in(cast, who)
    for method, route in calls_of_hidden:
        real, missing = (answer(api, method, path) for path in (there.address(route), address(route)))
        for one in (real, missing):
            del one["X-Request-ID"]  # of each request its own, whatever it is for
        answers = [(one.status_code, one.content, dict(one.headers)) for one in (real, missing)]
        assert answers[0] == answers[1], (method, route)


def test_the_admin_pages_are_for_administrators_only(cast: Any, there: Everything) -> None:
    paths = [address(route) for route, _ in patterns() if route.startswith("admin/") and "path:" not in route]
    paths += [
        f"/admin/surveys/{model._meta.model_name}/"
        for model in admin.site._registry
        if model._meta.app_label == "surveys"
    ]
    assert len(paths) > 20
    for who in WHO[:-1]:
        browser = Browser()
        if who != "nobody":
            browser.force_login(getattr(cast, who))
        for path in paths:
            found = browser.get(path)
            assert found.status_code in (302, 403, 404), (who, path)
            if found.status_code == 302 and "logout" not in path:
                assert "/sign-in/" in found["Location"] or "login" in found["Location"], (who, path)
