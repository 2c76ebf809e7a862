"""Errors outside of views: a problem document for programs, a page for people."""

from __future__ import annotations

import json
from typing import Any

import pytest
from django.core.exceptions import SuspiciousOperation
from django.db import OperationalError
from django.test import Client

pytestmark = pytest.mark.django_db


def fault_response(monkeypatch: pytest.MonkeyPatch, fault: Exception, address: str, **headers: str) -> Any:
    """What is answered at an address where every view raises a fault."""

    def faulty(*_: Any, **__: Any) -> Any:
        raise fault

    monkeypatch.setattr("django.contrib.sessions.middleware.SessionMiddleware.process_request", faulty)
    return Client(raise_request_exception=False, headers=headers).get(address)


@pytest.mark.parametrize(
    ("fault", "status", "code"),
    [
        (OperationalError("server closed the connection"), 503, "service-unavailable"),
        (ValueError("secret of the machine"), 500, "server-error"),
        (SuspiciousOperation("odd host"), 400, "bad-request"),
    ],
)
def test_a_server_error_hides_internal_details_from_programs_and_people(
    monkeypatch: pytest.MonkeyPatch, fault: Exception, status: int, code: str
) -> None:
    program = fault_response(monkeypatch, fault, "/api/v1/sites/")
    assert (program.status_code, program["Content-Type"]) == (status, "application/problem+json")
    assert json.loads(program.content)["code"] == code
    person = fault_response(monkeypatch, fault, "/sites/", accept="text/html")
    assert (person.status_code, person["Content-Type"]) == (status, "text/html; charset=utf-8")
    assert str(fault) not in person.content.decode() + program.content.decode()
    assert ("Retry-After" in person) == (status == 503)


def test_a_program_that_requests_a_page_gets_a_problem_document(client: Any) -> None:
    answer = client.get("/sites/nowhere/", headers={"accept": "application/json"})
    assert (answer.status_code, answer["Content-Type"]) == (404, "application/problem+json")
