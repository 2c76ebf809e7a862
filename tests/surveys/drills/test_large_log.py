"""Log of a million rows over HTTP: truncated, imported, reduced, corrected, recalculated."""

from __future__ import annotations

import http.client
import json
import socket
from collections.abc import Callable
from functools import partial
from pathlib import Path
from typing import Any
from urllib.parse import urlsplit

import numpy as np
import psycopg
import pytest

from tests.surveys.drills.history import wrong_sentences
from tests.surveys.drills.processes import Processes, post, wait_until

ROWS = 1_000_000
STORED = ("surveys_log", "surveys_logfilepart", "surveys_readingblock", "surveys_result")


def million_rows() -> bytes:
    """Return eleven days with a reading each second, about the flow of the scene."""
    count = np.arange(ROWS)
    times = np.datetime_as_string(np.datetime64("2026-10-06T07:30:00") + count, unit="s")
    transit, difference = 311.16 + 0.001 * (count % 3), 170 + count % 5
    rows = (f"{t}Z,{a:.3f},{b}" for t, a, b in zip(times, transit, difference, strict=True))
    return ("time,transit_time [us],time_difference [ns]\n" + "\n".join(rows)).encode()


def cut_off(address: str, token: str, body: bytes) -> tuple[int, Any]:
    """Announce a complete body, send half of it, and return the response."""
    to = urlsplit(address)
    head = (
        f"POST {to.path}?name=a.csv HTTP/1.1\r\nHost: {to.netloc}\r\nAuthorization: Token {token}\r\n"
        f"Content-Type: text/csv\r\nContent-Length: {len(body)}\r\n\r\n"
    )
    with socket.create_connection((to.hostname, to.port)) as connection:
        connection.sendall(head.encode())
        connection.sendall(body[: len(body) // 2])
        connection.shutdown(socket.SHUT_WR)
        answer = http.client.HTTPResponse(connection)
        answer.begin()
        return answer.status, json.load(answer)


def close_connection(address: str, token: str, body: bytes) -> None:
    """Announce a complete body, and disconnect half-way without waiting for a response."""
    to = urlsplit(address)
    connection = http.client.HTTPConnection(to.netloc)
    connection.putrequest("POST", f"{to.path}?name=a.csv")
    for name, value in {
        "Authorization": f"Token {token}",
        "Content-Type": "text/csv",
        "Content-Length": len(body),
    }.items():
        connection.putheader(name, str(value))
    connection.endheaders(body[: len(body) // 2])
    connection.close()


def upload(address: str, token: str, body: bytes) -> tuple[int, Any]:
    to = urlsplit(address)
    connection = http.client.HTTPConnection(to.netloc, timeout=120)
    try:
        headers = {"Authorization": f"Token {token}", "Content-Type": "text/csv"}
        connection.request("POST", f"{to.path}?name=a.csv", body, headers)
        answer = connection.getresponse()
        return answer.status, json.load(answer)
    finally:
        connection.close()


def query_value(url: str, query: str) -> Any:
    with psycopg.connect(url, autocommit=True) as database:
        row = database.execute(query).fetchone()
        assert row
        return row[0]


@pytest.mark.needs_postgresql
def test_a_truncated_log_stores_nothing_and_a_complete_log_is_imported(
    processes: Callable[..., Processes], fresh_postgresql: str, tmp_path: Path
) -> None:
    drill, ask = processes(DATABASE_URL=fresh_postgresql), partial(query_value, fresh_postgresql)
    ids = drill.seed(1, 40)
    stored = {table: ask(f"SELECT count(*) FROM {table}") for table in STORED}
    address, tokens, log = drill.server(), ids["tokens"], million_rows()
    survey = {
        "measuring_point": ids["point"],
        "setup": ids["setup"],
        "instruments": [ids["meter"]],
        "started_at": "2026-10-06T07:30:00Z",
    }
    status, created = post(f"{address}surveys/", tokens["technician"], survey)
    assert status == 201, created
    path = f"{address}surveys/{created['id']}/log/"

    # The server has four threads: five truncated uploads would stop it if each held its thread forever.
    for _ in range(4):
        close_connection(path, tokens["technician"], log)
    status, problem = cut_off(path, tokens["technician"], log)
    assert (status, problem["code"]) == (400, "body-cut-off")
    assert {table: ask(f"SELECT count(*) FROM {table}") for table in STORED} == stored

    status, taken = upload(path, tokens["technician"], log)
    assert (status, taken.get("rows_accepted"), taken.get("rows_rejected")) == (201, ROWS, 0), taken
    assert {table: ask(f"SELECT count(*) FROM {table}") for table in ("surveys_log", "surveys_result")} == {
        "surveys_log": 2,
        "surveys_result": 2,
    }
    correction = {"reason": "Gauged.", "pipe": {"wall_thickness": "8.0 mm"}}
    status, answer = post(f"{address}pipes/{ids['pipe']}/corrections/", tokens["office"], correction)
    assert status == 202, answer
    open_runs = "SELECT count(*) FROM surveys_recomputation WHERE finished_at IS NULL"
    assert wait_until(lambda: ask(open_runs) == 0, 120), drill.output()
    assert wrong_sentences(ask) == {}
    of_survey = f"FROM surveys_result WHERE survey_id = '{created['id']}'"
    assert ask(f"SELECT min(readings_used) {of_survey}") == ROWS
    assert ask(f"SELECT count(*) {of_survey}") == 2
