"""What each call answers each kind of user: the table beside this file, and how it is walked.

`access.csv` has a row for every call and a column for every kind of user; in it stands the status of the answer to an empty body, for
records of one client. Write it anew after a change, and read the difference line by line before it is committed:

    WRITE_ACCESS_TABLE=on pytest tests/surveys/people/test_access.py
"""

from __future__ import annotations

import csv
from pathlib import Path
from typing import Any

from django.db import transaction
from rest_framework.test import APIClient

from tests.surveys.people.all_records import Everything
from tests.surveys.people.routes import calls

TABLE = Path(__file__).with_name("access.csv")
# Who asks: nobody signed in; a client viewer of another client, and of the one whose records these are; a technician without a job, and
# with one there; the office's.
WHO = (
    "nobody", "stranger", "owner", "idle_technician", "technician", "office", "calibration_admin", "administrator",
)  # fmt: skip
Table = dict[tuple[str, str], dict[str, int]]


def table() -> Table:
    """The table as it is kept."""
    with TABLE.open(newline="", encoding="utf-8") as file:
        return {
            (row["method"], row["route"]): {who: int(row[who]) for who in WHO} for row in csv.DictReader(file)
        }


def signed_in(cast: Any, who: str) -> APIClient:
    """A session, which serves the API and the pages alike. What goes wrong in a view is its answer, not the test's."""
    api = APIClient(raise_request_exception=False)
    if who != "nobody":
        api.force_login(getattr(cast, who))
    return api


def answer(api: APIClient, method: str, path: str) -> Any:
    """The answer to an empty body. What the call did is undone."""
    with transaction.atomic():
        found = api.generic(method, path, b"" if method == "GET" else b"{}", content_type="application/json")
        if found.streaming:
            # Read to the end, by which the test's client closes it without the database's connection.
            list(found.streaming_content)
        transaction.set_rollback(True)
    return found


def walked(cast: Any, there: Everything, who: str) -> dict[tuple[str, str], int]:
    """Every call made by one of them."""
    return {
        (method, route): answer(signed_in(cast, who), method, there.address(route)).status_code
        for method, route in calls()
    }


def write_column(who: str, found: dict[tuple[str, str], int]) -> None:
    """Write what one of them was answered into the table, and take the rows of calls that are gone out of it."""
    known = table() if TABLE.exists() else {}
    with TABLE.open("w", newline="", encoding="utf-8") as file:
        rows = csv.writer(file, lineterminator="\n")
        rows.writerow(["method", "route", *WHO])
        for call in sorted(found, key=lambda call: (call[1], call[0])):
            row = known.get(call, dict.fromkeys(WHO, 0)) | {who: found[call]}
            rows.writerow([*call, *(row[one] for one in WHO)])
