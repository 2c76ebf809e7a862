"""Compose file: its required content, and its commands as a service with readiness."""

from __future__ import annotations

import json
import re
from collections.abc import Callable
from pathlib import Path
from typing import Any

import jsonschema
import pytest

from tests.surveys.drills.compose import SCHEMA, Fleet, compose_file
from tests.surveys.drills.processes import ROOT, Processes, free_port, wait_until

OURS = ("migrate", "web", "worker", "beat", "manage")


def test_the_file_keeps_to_the_format() -> None:
    jsonschema.Draft202012Validator(SCHEMA).validate(compose_file())


@pytest.mark.parametrize(
    ("path", "wrong"),
    [
        (("name",), "Flow Surveys"),
        (("services", "web", "helthcheck"), {}),
        (("services", "web", "environment", "DEBUG"), True),
        (("services", "web", "depends_on", "broker"), {"condition": "healthy"}),
        (("services", "worker", "healthcheck", "interval"), 30),
    ],
)
def test_an_error_in_the_file_is_found(path: tuple[str, ...], wrong: Any) -> None:
    document = json.loads(json.dumps(compose_file()))
    place = document
    for name in path[:-1]:
        place = place[name]
    place[path[-1]] = wrong
    assert not jsonschema.Draft202012Validator(SCHEMA).is_valid(document)


def test_whatever_is_named_is_there() -> None:
    document = compose_file()
    services = document["services"]
    assert set(services) == {"database", "broker", *OURS}
    for service in services.values():
        assert set(service.get("secrets", ())) <= set(document["secrets"])
        assert {volume.split(":")[0] for volume in service.get("volumes", ())} <= set(document["volumes"])
        for name, on in service.get("depends_on", {}).items():
            assert "healthcheck" in services[name] or on["condition"] == "service_completed_successfully"


def test_own_services_run_unprivileged_and_write_only_temporary_files() -> None:
    for name in OURS:
        service = compose_file()["services"][name]
        assert (service["user"], service["read_only"], service["tmpfs"]) == ("surveys", True, ["/tmp"])  # noqa: S108
        assert service["cap_drop"] == ["ALL"]
    image = (ROOT / "Dockerfile").read_text()
    assert image.index("useradd") < image.index("USER surveys") < image.index("CMD")


def test_every_secret_is_a_file_and_every_long_running_service_has_a_health_check() -> None:
    services = compose_file()["services"]
    for name in OURS:
        for variable, value in services[name]["environment"].items():
            if re.search("PASSWORD|SECRET|TOKEN", variable):
                assert variable.endswith("_FILE")
                assert value.removeprefix("/run/secrets/") in services[name]["secrets"]
    assert all("healthcheck" in one for one in services.values() if one["restart"] != "no")


@pytest.mark.needs_postgresql
@pytest.mark.needs_redis
def test_its_commands_make_a_service_that_is_ready_and_without_its_broker_is_not(
    processes: Callable[..., Processes], fresh_postgresql: str, tmp_path: Path
) -> None:
    before = {one.name for one in ROOT.iterdir()}
    port = free_port()
    servers, seeds = processes(DATABASE_URL=fresh_postgresql), processes(DATABASE_URL=fresh_postgresql)
    broker = servers.redis(port)
    (tmp_path / "output.txt").unlink()
    fleet = Fleet(tmp_path, processes(), fresh_postgresql, port, SWEEP_SECONDS="1")

    assert fleet.start("migrate").wait(120) == 0, fleet.drill.output()
    ids = seeds.seed(3, 40)
    for name in ("web", "worker", "beat"):
        fleet.start(name)
    for name in ("web", "worker", "beat"):
        assert wait_until(lambda: fleet.healthy(name), 60), (name, fleet.drill.output())  # noqa: B023
    assert fleet.ask("/readyz")[:2] == (200, '{"ready": true, "failed": []}')
    assert fleet.ask("/healthz")[0] == 200

    # The request of a correction and the task that processes it have the same id in the log.
    body = {"reason": "Gauged.", "pipe": {"wall_thickness": "8.0 mm"}}
    token = ids["tokens"]["office"]
    status, text, request_id = fleet.ask(
        f"/api/v1/pipes/{ids['pipe']}/corrections/", body, Authorization=f"Token {token}"
    )
    assert status == 202, text

    def ended() -> list[dict[str, Any]]:
        entries = [one for one in fleet.lines() if one.get("request_id") == request_id and "task_id" in one]
        return [one for one in entries if one["task"] == "surveys.operations.tasks.recompute"]

    assert wait_until(ended, 60), fleet.drill.output()
    bearer = {"Authorization": f"Bearer {fleet.metrics_token}"}
    counted = 'surveys_tasks_total{state="SUCCESS",task="surveys.operations.tasks.recompute"}'
    assert wait_until(lambda: counted in fleet.ask("/metrics", **bearer)[1], 20)
    assert fleet.ask("/metrics")[0] == 404

    servers.kill(broker)
    assert wait_until(lambda: fleet.failed() == ["broker", "sweep"], 20)
    assert fleet.ask("/readyz")[0] == 503
    assert not fleet.healthy("web")
    assert fleet.ask("/healthz")[0] == 200
    # It starts empty, and is ready again after the next sweep.
    servers.redis(port)

    def ready_again() -> bool:
        fleet.restart_ended()
        return fleet.failed() == []

    assert wait_until(ready_again, 60, every=1), fleet.drill.output()
    assert fleet.healthy("web")
    assert token not in fleet.drill.output()
    assert fleet.metrics_token not in fleet.drill.output()
    # The image is read-only: nothing is written beside the program.
    assert {one.name for one in ROOT.iterdir()} <= before | {".pytest_cache"}
