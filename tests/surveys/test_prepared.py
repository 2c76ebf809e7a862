"""Queries whose SQL is kept give what the same queryset gives, for whatever they are asked with."""

from __future__ import annotations

from threading import Thread
from typing import Any

import pytest
from django.db import connection, models
from django.test.utils import CaptureQueriesContext

from surveys.models import Client, Site
from surveys.prepared import Given, Prepared, Raw

pytestmark = pytest.mark.django_db

NAMED = Prepared(
    lambda: (
        Site.objects.select_related("client")
        .filter(name=Given("name", models.CharField()))
        .order_by("client__name")
    )
)
OF_CLIENTS = Prepared(
    lambda: (
        Site.objects.filter(client__id__in=[Given("clients", models.UUIDField(), many=True)])
        .order_by("name")
        .values_list("client_id", "name")
    )
)


@pytest.fixture
def clients() -> list[Client]:
    clients = [Client.objects.create(name=name) for name in "abc"]
    for client in clients:
        for name in ("North", client.name):
            Site.objects.create(client=client, name=name)
    return clients


def test_records_come_with_what_is_joined_for_each_value_anew(clients: list[Client]) -> None:
    for name, owners in (("North", ["a", "b", "c"]), ("b", ["b"]), ("", []), ("North' OR 1=1 --", [])):
        with CaptureQueriesContext(connection) as counted:
            assert [site.client.name for site in NAMED(name=name)] == owners
        assert len(counted) == 1


def test_as_many_values_are_sent_as_there_are(clients: list[Client]) -> None:
    keys = [row[0] for row in Raw(Client.objects.order_by("name").values_list("id")).rows]
    for some in (keys, keys[:1], keys[1:]):
        rows = OF_CLIENTS.raw(clients=some)
        assert sorted({row[0] for row in rows}) == sorted(some)
        assert len(rows) == 2 * len(some)


def test_a_raw_row_becomes_what_the_queryset_gives(clients: list[Client]) -> None:
    rows = Client.objects.order_by("name").values_list("id", "name")
    raw = Raw(rows)
    assert [raw.converted(row) for row in raw.rows] == list(rows)


@pytest.mark.django_db(transaction=True)
def test_each_thread_asks_over_its_own_connection(clients: list[Client]) -> None:
    found: list[Any] = []

    def ask() -> None:
        found.append([site.name for site in NAMED(name="b")])
        connection.close()

    threads = [Thread(target=ask) for _ in range(4)]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join()
    assert found == [["b"]] * 4
