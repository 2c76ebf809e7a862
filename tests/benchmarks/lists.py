"""Lists, details and histories as surveys grow in number: queries, time against a bare JSON view, deep pages against first ones.

In process, by token, with all of the service's middleware. A page is 50 rows. The time is this process's CPU on SQLite, where the
database is part of it; on PostgreSQL it is what a clock on the wall says.
"""

from __future__ import annotations

from collections.abc import Callable
from typing import Any
from urllib.parse import urlencode

from django.db import connection
from django.test.utils import CaptureQueriesContext

from surveys.api.pagination import SIGNER
from surveys.models import Result, Scope, Survey, User
from surveys.services.people.tokens import SIGN_IN_LIFE, token_make
from tests.benchmarks import fleet
from tests.benchmarks.bare import InProcess
from tests.benchmarks.measuring import Clock, Figure, Figures, cpu, many, ratio, wall

PAGE = 50
DEEP_PAGE = 20_000
# Each measured in a loop of about the same length.
BARE_TIMES = 200


class UserRequests:
    """Requests to the service with the token of one user."""

    def __init__(self, user: User) -> None:
        self.service = InProcess(service=True)
        _, token = token_make(user=user, name="benchmark", scope=Scope.READ, life=SIGN_IN_LIFE)
        self.headers = {"HTTP_AUTHORIZATION": f"Token {token}"}

    def __call__(self, address: str) -> Callable[[], Any]:
        return lambda: self.service.get(address, **self.headers)


def figures(small: bool) -> Figures:
    records = fleet.create_fleet()
    office, client = (UserRequests(records.people.users[name]) for name in ("office", "client"))
    bare = InProcess(service=False)
    sizes, repeats = ((200, 600), 1) if small else ((1_000, 100_000, 1_001_000), 9)
    clock = cpu if connection.vendor == "sqlite" else wall
    first: dict[str, float] = {}
    queries: dict[str, int] = {}
    for size in sizes:
        records.grow(size, documents=size == sizes[0])
        fleet.analyze_tables()
        for what, ask in pages(office, client).items():
            one = ratio(
                f"{what} to a bare JSON view", ask, many(lambda: bare.get("/bare/"), BARE_TIMES),
                repeats=repeats, clock=clock, size=size,
            )  # fmt: skip
            assert one.seconds
            if size == sizes[0]:
                first[what], queries[what] = one.value, queries_of(ask)
                target = 100 if what == "surveys, 50 rows" else None
                yield Figure(
                    what=one.what, value=one.value * BARE_TIMES, target=target, size=size,
                    seconds=one.seconds, floor_seconds=one.floor_seconds,
                )  # fmt: skip
            else:
                # By the bare view measured beside each: what else the machine does goes into both.
                grown = one.value / first[what]
                yield Figure(what=f"{what} to that of {sizes[0]:,}", value=grown, target=1.2, size=size, seconds=one.seconds)  # fmt: skip
                assert queries_of(ask) == queries[what], what
    yield from deep(office, sizes[-1], repeats, clock)


def pages(office: UserRequests, client: UserRequests) -> dict[str, Callable[[], Any]]:
    """Return the requests: of a survey and a point among all others."""
    survey, point = fleet.identity(fleet.SURVEY, 77), fleet.identity(fleet.POINT, 1)
    of_point = f"measuring_point={point}"
    return {
        "surveys, 50 rows": office("/api/v1/surveys/"),
        "surveys for a client, 50 rows": client("/api/v1/surveys/"),
        "surveys of a point, 50 rows": office(f"/api/v1/surveys/?{of_point}"),
        "surveys of a month, 50 rows": office("/api/v1/surveys/?to=2025-10-09T22:00:00Z"),
        "results, 50 rows": office("/api/v1/results/"),
        "current results, 50 rows": office("/api/v1/results/?current=true"),
        "history of a point, 50 rows": office(f"/api/v1/results/?{of_point}&current=true"),
        "a survey": office(f"/api/v1/surveys/{survey}/"),
        "its results": office(f"/api/v1/surveys/{survey}/results/"),
    }


def queries_of(ask: Callable[[], Any]) -> int:
    with CaptureQueriesContext(connection) as counted:
        ask()
    return len(counted)


def deep(office: UserRequests, size: int, repeats: int, clock: Clock) -> Figures:
    """Compare a deep page with the first, and with the second, which also uses a cursor."""
    # Not among the first ones, whose results have documents.
    page = min(DEEP_PAGE, size // PAGE // 2) if size < PAGE * DEEP_PAGE else DEEP_PAGE
    for model, moment in ((Survey, "started_at"), (Result, "computed_at")):
        what = f"{model._meta.model_name}s"
        far = office(f"/api/v1/{what}/?{_leading_to(page, model, moment)}")
        for other, query in ((1, ""), (2, _leading_to(2, model, moment))):
            yield ratio(
                f"page {page:,} of {what} to page {other}", far, office(f"/api/v1/{what}/?{query}"),
                repeats=2 * repeats, clock=clock, target=1.1, size=size,
            )  # fmt: skip


def _leading_to(page: int, model: type[Survey | Result], moment: str) -> str:
    """Return the query with the cursor of a page."""
    order = [f"-{moment}", "-id"]
    row = model.objects.order_by(*order)[(page - 1) * PAGE - 1]
    at = [field.value_to_string(row) for field in (model._meta.get_field(moment), model._meta.pk)]
    return urlencode({"cursor": SIGNER.sign_object([False, order, at])})
