"""Careful client: sends a write under one key until there is a response, and stores each acknowledgement."""

from __future__ import annotations

import http.client
import json
import random
import threading
import time
from collections import defaultdict
from dataclasses import dataclass, field
from typing import Any
from uuid import uuid4

from tests.surveys.drills.compose import HOST

PATIENCE_SECONDS = 240.0
FIRST_PAUSE, MAX_PAUSE = 0.2, 3.0
ANSWER_WITHIN_SECONDS = 60
# Fractions of the writes whose response is lost and that are sent again, and that are repeated after a response.
ANSWERS_LOST, RETRIED_STATUSES = 0.05, 0.1


@dataclass(frozen=True, slots=True)
class Attempt:
    """Request with its purpose, start (monotonic), duration and status; 0 means no response."""

    kind: str
    began: float
    seconds: float
    status: int
    received: str = ""


@dataclass
class Notes:
    """Acknowledgements, attempts and faults of all callers together."""

    attempts: list[Attempt] = field(default_factory=list)
    promised: dict[str, dict[str, Any]] = field(default_factory=lambda: defaultdict(dict))
    rejected: list[str] = field(default_factory=list)
    faults: list[str] = field(default_factory=list)
    replayed: int = 0
    answers_lost: int = 0
    _lock: threading.Lock = field(default_factory=threading.Lock)

    def attempt(self, one: Attempt) -> None:
        with self._lock:
            self.attempts.append(one)

    def promise(self, kind: str, id: str, **about: Any) -> None:
        """Record an acknowledged write."""
        with self._lock:
            if id in self.promised[kind]:
                self.faults.append(f"{kind} {id} was acknowledged twice as new")
            self.promised[kind][id] = about

    def fault(self, text: str) -> None:
        with self._lock:
            self.faults.append(text)

    def count(self, what: str) -> None:
        with self._lock:
            setattr(self, what, getattr(self, what) + 1)


class Caller:
    """Client program of one user."""

    def __init__(self, port: int, notes: Notes, *, token: str = "", session: str = "", lot: int = 0) -> None:
        self.port, self.notes, self.lot = port, notes, random.Random(lot)
        self.headers = {"Host": HOST, "X-Forwarded-Proto": "https"}
        if token:
            self.headers["Authorization"] = f"Token {token}"
        if session:
            self.headers["Cookie"] = f"sessionid={session}"

    def read(self, kind: str, path: str) -> tuple[int, Any]:
        """Send one request; a reader tries again later or not at all."""
        status, content, json_said, _ = self._request(kind, "GET", path, None, {})
        return status, json.loads(content) if json_said and content else content

    def write(self, kind: str, path: str, body: Any) -> tuple[int, Any]:
        """Send a write until it has a final response; (0, None) if it never had one, which is a fault of the service."""
        raw = isinstance(body, bytes)
        content = body if raw else json.dumps(body).encode()
        headers = {"Content-Type": "text/csv" if raw else "application/json", "Idempotency-Key": str(uuid4())}
        if self.lot.random() < ANSWERS_LOST:
            self._hang_up(path, content, headers)
        gives_up, pause = time.monotonic() + PATIENCE_SECONDS, FIRST_PAUSE
        while time.monotonic() < gives_up:
            status, received, _, replayed = self._request(kind, "POST", path, content, headers)
            answer = json.loads(received) if received and status else None
            if not _to_be_sent_again(status, answer):
                if replayed:
                    self.notes.count("replayed")
                if status < 400 and self.lot.random() < RETRIED_STATUSES:
                    self._once_more(kind, path, content, headers, answer)
                return status, answer
            time.sleep(pause)
            pause = min(pause * 1.6, MAX_PAUSE)
        self.notes.fault(f"{kind}: no answer in {PATIENCE_SECONDS:.0f} s to POST {path}")
        return 0, None

    def _once_more(self, kind: str, path: str, content: bytes, headers: dict[str, str], first: Any) -> None:
        status, received, _, _ = self._request(kind, "POST", path, content, headers)
        if not 200 <= status < 300:
            # A part is or was down: the response proves nothing.
            if 0 < status < 500:
                self.notes.fault(f"{kind}: sent once more, it was rejected with {status}: {received[:200]!r}")
            return
        again = json.loads(received)
        if _id_of(again) != _id_of(first):
            self.notes.fault(f"{kind}: sent once more, it created {_id_of(again)} besides {_id_of(first)}")

    def _hang_up(self, path: str, content: bytes, headers: dict[str, str]) -> None:
        """Send the request and disconnect before the response."""
        self.notes.count("answers_lost")
        connection = http.client.HTTPConnection("127.0.0.1", self.port, timeout=ANSWER_WITHIN_SECONDS)
        try:
            connection.request("POST", path, content, self.headers | headers)
            time.sleep(self.lot.random() * 0.1)
        except OSError:
            pass
        finally:
            connection.close()

    def _request(
        self, kind: str, method: str, path: str, content: bytes | None, headers: dict[str, str]
    ) -> tuple[int, bytes, bool, bool]:
        """Return status (0: no response), body, whether it is JSON, and whether it is an earlier response."""
        connection = http.client.HTTPConnection("127.0.0.1", self.port, timeout=ANSWER_WITHIN_SECONDS)
        began, status, received, is_json, replayed, problem = (
            time.monotonic(),
            0,
            b"",
            False,
            False,
            "",
        )
        try:
            connection.request(method, path, content, self.headers | headers)
            answer = connection.getresponse()
            received = answer.read()
            status, is_json = answer.status, "json" in answer.headers.get("Content-Type", "")
            replayed = answer.headers.get("Idempotency-Replayed") == "true"
            problem = received[:200].decode(errors="replace") if status >= 500 else ""
        except (OSError, http.client.HTTPException) as error:
            status, received, problem = 0, b"", f"{type(error).__name__}: {error}"
        finally:
            connection.close()
        seconds = time.monotonic() - began
        self.notes.attempt(
            Attempt(kind, began, seconds, status, f"{method} {path}: {problem}" if problem else "")
        )
        return status, received, is_json, replayed


def _to_be_sent_again(status: int, answer: Any) -> bool:
    still_running = status == 409 and answer["code"] == "still-running"
    return status == 0 or status >= 500 or status == 429 or still_running


def _id_of(answer: Any) -> Any:
    """Return the id of the record that a write created."""
    if "results" in answer:
        return [entry["id"] for entry in answer["results"]]
    return answer["data"]["id"] if isinstance(answer.get("data"), dict) else answer["id"]
