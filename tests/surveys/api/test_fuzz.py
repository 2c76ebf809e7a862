"""The whole API, fuzzed by its own description as each role: never a 5xx, and every answer is one that is described.

Schemathesis makes calls that fit the description and such that do not. Most ids in paths are those of records there are, so that the fuzz
gets past "not found". What a call did is undone.
"""

from __future__ import annotations

from collections.abc import Iterator
from contextlib import contextmanager
from datetime import timedelta
from functools import cache
from typing import Any

import pytest
import schemathesis
from django.core.signals import request_finished, request_started
from django.db import close_old_connections, transaction
from drf_spectacular.generators import SchemaGenerator
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st
from schemathesis.checks import not_a_server_error
from schemathesis.specs.openapi.checks import (
    content_type_conformance,
    response_schema_conformance,
    status_code_conformance,
)

from surveys.models import Scope, User
from surveys.services.people.tokens import token_make
from surveys.wsgi import application
from tests.surveys.people.all_records import Everything

pytestmark = pytest.mark.django_db
CASES_EACH = 5
CHECKS = [
    not_a_server_error, status_code_conformance, content_type_conformance, response_schema_conformance,
]  # fmt: skip
ROLES = ("owner", "stranger", "technician", "office", "calibration_admin", "administrator")
# A file of any kind is fuzzed where files are read; here its address is met with JSON.
FUZZ_EXCLUDED_PATHS = ("/api/v1/sign-out/", "/api/v1/password/")


@cache
def described() -> Any:
    """The API's description with the service behind it."""
    schema = schemathesis.openapi.from_dict(SchemaGenerator().get_schema(request=None, public=True))
    schema.app = whole
    return schema


def whole(environ: Any, start_response: Any) -> list[bytes]:
    """The service, its answers read to the end and closed as a server does."""
    answer: Any = application(environ, start_response)
    try:
        return [b"".join(answer)]
    finally:
        answer.close()


@pytest.mark.parametrize("who", ROLES)
@pytest.mark.parametrize("half", [0, 1])
def test_no_call_fails_and_every_answer_is_as_described(
    cast: Any, site: Any, kit: Any, who: str, half: int
) -> None:
    there, user = Everything(cast, site, kit), getattr(cast, who)
    operations = [one.ok() for one in described().get_all_operations()]
    tried = 0
    for operation in operations[half::2]:
        if operation.path in FUZZ_EXCLUDED_PATHS:
            continue
        cases = given(case=operation.as_strategy(), known=st.integers(0, 3))
        options = settings(max_examples=CASES_EACH, suppress_health_check=list(HealthCheck), database=None)
        options(cases(lambda case, known: one_case(case, there if known else None, user)))()
        tried += 1
    assert tried > 60


def one_case(case: Any, there: Everything | None, user: User) -> None:
    """Make the call, look at the answer, undo what it did."""
    if there is not None:
        for name in case.path_parameters or {}:
            case.path_parameters[name] = there.id_of(case.operation.path.removeprefix("/"), name)
    with transaction.atomic():
        _, secret = token_make(user=user, name="fuzz", scope=Scope.WRITE, life=timedelta(days=1))
        with one_connection():
            answer = case.call(headers={"Authorization": f"Token {secret}"})
        transaction.set_rollback(True)
    case.validate_response(answer, checks=CHECKS)


@contextmanager
def one_connection() -> Iterator[None]:
    """The service, called as a server calls it, leaves the test's connection open at the begin and the end of a request."""
    signals = (request_started, request_finished)
    for signal in signals:
        signal.disconnect(close_old_connections)
    try:
        yield
    finally:
        for signal in signals:
            signal.connect(close_old_connections)
