"""Cursor pagination of lists, forward and back, also through equal rows."""

from __future__ import annotations

from typing import Any

import pytest

from surveys.models import Pipe, Site

pytestmark = pytest.mark.django_db


def pages(api: Any, path: str, link: str = "next") -> list[list[str]]:
    """The ids of every page from a link on."""
    found: list[list[str]] = []
    while path and len(found) < 50:
        page = api.get(path).json()
        found.append([row["id"] for row in page["results"]])
        path = page[link]
    return found


def ids(found: list[list[str]]) -> list[str]:
    return [one for page in found for one in page]


def test_rows_alike_in_the_order_are_each_listed_once(as_user: Any, cast: Any) -> None:
    # More of them than any page, cut-off or offset could hold.
    site = Site.objects.create(client=cast.client, name="Works")
    Pipe.objects.bulk_create(Pipe(site=site, name=f"{number}") for number in range(3))
    other = [Site.objects.create(client=cast.client, name=f"Site {number}") for number in range(1100)]
    Pipe.objects.bulk_create(Pipe(site=one, name="Return line") for one in other)
    found = ids(pages(as_user("office"), "/api/v1/pipes/?page_size=100"))
    assert len(found) == len(set(found)) == 1103


@pytest.mark.parametrize("order", ["", "&ordering=name", "&ordering=-name"])
def test_going_back_meets_the_pages_of_going_forward(as_user: Any, cast: Any, order: str) -> None:
    for number in range(7):
        Site.objects.create(client=cast.client, name=f"Site {number}")
    office = as_user("office")
    forward = pages(office, f"/api/v1/sites/?page_size=3{order}")
    assert [len(page) for page in forward] == [3, 3, 1]
    last = office.get(f"/api/v1/sites/?page_size=3{order}").json()["next"]
    last = office.get(last).json()["next"]
    assert pages(office, last, "previous") == forward[::-1]


def test_the_first_page_has_no_previous_and_the_last_no_next(as_user: Any, cast: Any) -> None:
    Site.objects.create(client=cast.client, name="Works")
    page = as_user("office").get("/api/v1/sites/").json()
    assert (page["previous"], page["next"], len(page["results"])) == (None, None, 1)


def test_a_row_added_before_the_cursor_shifts_nothing(as_user: Any, cast: Any) -> None:
    for name in ("B", "C", "D", "E"):
        Site.objects.create(client=cast.client, name=name)
    office = as_user("office")
    following = office.get("/api/v1/sites/?page_size=2").json()["next"]
    Site.objects.create(client=cast.client, name="A")
    assert [row["name"] for row in office.get(following).json()["results"]] == ["D", "E"]


def test_a_cursor_of_another_order_or_with_a_changed_letter_is_rejected(as_user: Any, cast: Any) -> None:
    for name in ("B", "C", "D"):
        Site.objects.create(client=cast.client, name=name)
    office = as_user("office")
    following = office.get("/api/v1/sites/?page_size=2").json()["next"]
    for changed in (f"{following}&ordering=-name", following.replace("cursor=", "cursor=x")):
        answer = office.get(changed)
        assert (answer.status_code, answer.json()["code"]) == (400, "cursor-unknown")
