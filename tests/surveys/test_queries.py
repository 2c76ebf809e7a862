"""Number of queries of each address: a table under review, independent of the number of rows.

Write the table anew after a change, and read the difference line by line before it is committed:

    WRITE_QUERIES=on pytest tests/surveys/test_queries.py
"""

from __future__ import annotations

import csv
import os
from pathlib import Path
from types import SimpleNamespace
from typing import Any

import pytest
from django.db import connection
from django.test.utils import CaptureQueriesContext

from surveys.api.urls import router
from surveys.models import Role, Survey, User
from tests.surveys.growth import grow
from tests.surveys.people.access import answer, signed_in
from tests.surveys.people.all_records import Everything
from tests.surveys.people.routes import calls

pytestmark = pytest.mark.django_db

TABLE = Path(__file__).with_name("queries.csv")
# A client's viewer, a technician with a job there, and one who may see everything.
WHO = ("owner", "technician", "administrator")
# What holds queries together is none.
NOT_COUNTED = ("SAVEPOINT", "RELEASE", "ROLLBACK", "BEGIN", "COMMIT")
Counts = dict[str, dict[str, int]]


@pytest.fixture
def there(cast: Any, site: Any, kit: Any) -> Everything:
    cast.idle_technician = User.objects.create_user(username="idle", role=Role.TECHNICIAN)
    return Everything(cast, site, kit)


def addresses() -> list[str]:
    return [route for method, route in calls() if method == "GET"]


def counted(cast: Any, there: Everything) -> Counts:
    """Return the queries of each address with warm caches."""
    found: Counts = {route: {} for route in addresses()}
    for who in WHO:
        api = signed_in(cast, who)
        for route in found:
            answer(api, "GET", there.address(route))
            with CaptureQueriesContext(connection) as queries:
                answer(api, "GET", there.address(route))
            found[route][who] = sum(not one["sql"].startswith(NOT_COUNTED) for one in queries)
    return found


def table() -> Counts:
    with TABLE.open(newline="", encoding="utf-8") as file:
        return {row["route"]: {who: int(row[who]) for who in WHO} for row in csv.DictReader(file)}


def write(found: Counts) -> None:
    with TABLE.open("w", newline="", encoding="utf-8") as file:
        rows = csv.writer(file, lineterminator="\n")
        rows.writerow(["route", *WHO])
        rows.writerows([route, *(found[route][who] for who in WHO)] for route in sorted(found))


def test_each_address_takes_the_queries_of_the_table(cast: Any, there: Everything) -> None:
    found = counted(cast, there)
    if "WRITE_QUERIES" in os.environ:
        write(found)
    assert found == table()


def test_more_rows_take_no_more_queries(cast: Any, there: Everything) -> None:
    known, few = table(), Survey.objects.count()
    grow(1)
    assert Survey.objects.count() > 4 * few
    found = counted(cast, there)
    more = {
        (route, who): (known[route][who], found[route][who])
        for route in known
        for who in WHO
        if found[route][who] > known[route][who]
    }
    assert not more


def test_no_list_joins_all_there_is(cast: Any) -> None:
    """`select_related` without a name would."""
    for prefix, view_class, _ in router.registry:
        view = view_class(action="list", request=SimpleNamespace(user=cast.administrator, query_params={}))
        assert view.get_queryset().query.select_related is not True, prefix
