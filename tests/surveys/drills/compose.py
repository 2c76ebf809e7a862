"""docker-compose.yml for the drills and checks: the used part of its format, and its services as plain processes."""

from __future__ import annotations

import json
import re
import secrets
import subprocess
import sys
import urllib.request
from pathlib import Path
from typing import Any

import yaml

from tests.surveys.drills.processes import ROOT, Processes, environment, free_port

HOST = "surveys.example"

WORDS = {"type": "array", "items": {"type": "string"}, "minItems": 1}
SECONDS = {"type": "string", "pattern": "^[0-9]+s$"}
HEALTH_CHECK = {
    "type": "object",
    "required": ["test", "interval", "retries"],
    "additionalProperties": False,
    "properties": {
        "test": {**WORDS, "prefixItems": [{"enum": ["CMD", "CMD-SHELL"]}], "minItems": 2},
        "interval": SECONDS,
        "timeout": SECONDS,
        "start_period": SECONDS,
        "retries": {"type": "integer", "minimum": 1},
    },
}
SERVICE = {
    "type": "object",
    "required": ["image", "restart"],
    "additionalProperties": False,
    "properties": {
        "build": {"const": "."},
        "image": {"type": "string", "pattern": r"^[a-z-]+(:[0-9.]+)?$"},
        "user": {"type": "string"},
        "read_only": {"type": "boolean"},
        "tmpfs": WORDS,
        "cap_drop": WORDS,
        "security_opt": WORDS,
        "restart": {"enum": ["no", "unless-stopped"]},
        "environment": {
            "type": "object",
            "propertyNames": {"pattern": "^[A-Z_]+$"},
            "additionalProperties": {"type": "string"},
        },
        "secrets": WORDS,
        "volumes": {**WORDS, "items": {"pattern": "^[a-z]+:/[a-z/]+$"}},
        "profiles": WORDS,
        "entrypoint": WORDS,
        "command": WORDS,
        "ports": {**WORDS, "items": {"pattern": "^[0-9]+:[0-9]+$"}},
        "depends_on": {
            "type": "object",
            "additionalProperties": {
                "type": "object",
                "required": ["condition"],
                "additionalProperties": False,
                "properties": {"condition": {"enum": ["service_healthy", "service_completed_successfully"]}},
            },
        },
        "healthcheck": HEALTH_CHECK,
    },
}
# The used part of the public format, so that a misspelt word is found here and not on a host.
SCHEMA: dict[str, Any] = {
    "type": "object",
    "required": ["services", "secrets", "volumes"],
    "additionalProperties": False,
    "patternProperties": {"^x-": {"type": "object"}},
    "properties": {
        "name": {"type": "string", "pattern": "^[a-z0-9][a-z0-9_-]*$"},
        "services": {"type": "object", "additionalProperties": SERVICE},
        "secrets": {
            "type": "object",
            "additionalProperties": {
                "type": "object",
                "required": ["file"],
                "additionalProperties": False,
                "properties": {"file": {"type": "string", "pattern": "^secrets/[a-z_]+$"}},
            },
        },
        "volumes": {"type": "object", "additionalProperties": {"type": "null"}},
    },
}


def compose_file() -> dict[str, Any]:
    """Return the content of the file, with its repeated parts filled in."""
    document: dict[str, Any] = yaml.safe_load((ROOT / "docker-compose.yml").read_text(encoding="utf-8"))
    return document


def as_process(words: list[str], folder: Path, port: int) -> list[str]:
    """Return a command as a process of this machine: own interpreter, a folder for temporary files, a free port."""
    program = {"python": [sys.executable], "celery": [sys.executable, "-m", "celery"]}[words[0]]
    return program + [_here(word, folder, port) for word in words[1:]]


def _here(word: str, folder: Path, port: int) -> str:
    placed = word.replace("/tmp/", f"{folder}/")  # noqa: S108 - of the container
    return re.sub(r"(0\.0\.0\.0|127\.0\.0\.1):8000", f"127.0.0.1:{port}", placed)


class Fleet:
    """The services of the file as processes, each with a folder for its temporary files.

    One of several of a service has a number behind its name: `worker-2`.
    """

    def __init__(self, folder: Path, drill: Processes, database: str, broker: int, **settings: str) -> None:
        self.folder, self.drill, self.port = folder, drill, free_port()
        self.services = compose_file()["services"]
        self.database, self.broker, self.settings = database, broker, settings
        self.running: dict[str, subprocess.Popen[bytes]] = {}
        for name in compose_file()["secrets"]:
            (folder / name).write_text(secrets.token_urlsafe(50))
        self.metrics_token = (folder / "metrics_token").read_text()

    def service(self, name: str) -> Any:
        """Return the definition of a service, or of one of several."""
        return self.services[name.split("-")[0]]

    def environment(self, name: str) -> dict[str, str]:
        given = self.service(name)["environment"]
        ours = {key: value.replace("/run/secrets", str(self.folder)) for key, value in given.items()}
        ours |= {
            "DATABASE_URL": self.database,
            "CELERY_BROKER_URL": f"redis://127.0.0.1:{self.broker}/0",
            "ALLOWED_HOSTS": HOST,
            # Tests may run as root, of which Celery warns; the image does not.
            "PYTHONWARNINGS": "ignore",
            "ALIVE_FILE": str(self.folder / name / "alive"),
        }
        return environment(**ours | self.settings)

    def start(self, name: str) -> subprocess.Popen[bytes]:
        place = self.folder / name
        place.mkdir(exist_ok=True)
        self.drill.env = self.environment(name)
        self.running[name] = self.drill.start(*as_process(self.service(name)["command"], place, self.port))
        return self.running[name]

    def kill(self, name: str) -> None:
        """Kill a service as the kernel would; it stays down until it is started."""
        self.drill.kill(self.running.pop(name))

    def restart_ended(self) -> list[str]:
        """Restart the services that ended, as the engine does: a worker may end with its broker. Return their names."""
        ended = [name for name, process in self.running.items() if process.poll() is not None]
        again = [name for name in ended if self.service(name)["restart"] == "unless-stopped"]
        for name in again:
            self.start(name)
        return again

    def healthy(self, name: str) -> bool:
        """Run the health check of the file."""
        check = as_process(self.service(name)["healthcheck"]["test"][1:], self.folder / name, self.port)
        return subprocess.run(check, capture_output=True, timeout=30, check=False).returncode == 0

    def ask(self, path: str, body: Any = None, **headers: str) -> tuple[int, Any, str]:
        """Return status, text and request id of a response, as the proxy requests it."""
        forwarded = {"Host": HOST, "X-Forwarded-Proto": "https", "Content-Type": "application/json"}
        address, data = f"http://127.0.0.1:{self.port}{path}", json.dumps(body).encode() if body else None
        request = urllib.request.Request(address, data, forwarded | headers)
        try:
            with urllib.request.urlopen(request, timeout=30) as answer:  # noqa: S310
                return answer.status, answer.read().decode(), answer.headers.get("X-Request-ID", "")
        except urllib.error.HTTPError as rejected:
            with rejected:
                return rejected.code, rejected.read().decode(), rejected.headers.get("X-Request-ID", "")

    def failed(self) -> list[str]:
        return list(json.loads(self.ask("/readyz")[1])["failed"])

    def lines(self) -> list[dict[str, Any]]:
        lines = (self.drill.folder / "output.txt").read_text().splitlines()
        return [json.loads(line) for line in lines if not line.startswith(("  ", "Operations", "Running"))]
