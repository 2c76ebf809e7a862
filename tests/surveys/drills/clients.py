"""HTTP clients that post surveys one after another and store the responses."""

from __future__ import annotations

import threading
import time
from typing import Any

from tests.surveys.drills.processes import post


class Client(threading.Thread):
    """Client that posts a number of surveys and stores the responses and their times."""

    def __init__(self, number: int, writes: int, address: str, ids: dict[str, Any]) -> None:
        super().__init__()
        self.number, self.writes, self.address, self.ids = number, writes, address, ids
        self.answers: list[tuple[int, Any]] = []
        self.seconds: list[float] = []

    def run(self) -> None:
        body = {
            "measuring_point": self.ids["point"],
            "setup": self.ids["setup"],
            "instruments": [self.ids["meter"]],
            "started_at": "2026-10-06T09:30:00+02:00",
        }
        for write in range(self.writes):
            started = time.perf_counter()
            note = {"note": f"client {self.number}, write {write}"}
            self.answers.append(
                post(f"{self.address}surveys/", self.ids["tokens"]["technician"], body | note)
            )
            self.seconds.append(time.perf_counter() - started)


def write_together(address: str, ids: dict[str, Any], *, clients: int, writes: int) -> list[Client]:
    """Start clients that write at the same time; the caller joins them."""
    started = [Client(number, writes, address, ids) for number in range(clients)]
    for client in started:
        client.start()
    return started
