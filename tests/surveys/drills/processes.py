"""The service as processes of its own, started, killed and started again, with servers of their own to lose."""

from __future__ import annotations

import json
import os
import secrets
import shutil
import signal
import socket
import subprocess
import sys
import tempfile
import time
import urllib.request
from collections.abc import Callable
from contextlib import suppress
from pathlib import Path
from typing import Any

from tests.needs import postgresql_programs

ROOT = Path(__file__).parents[3]
GOOD = {
    "SECRET_KEY": secrets.token_urlsafe(60),
    "ALLOWED_HOSTS": "surveys.example",
    "DJANGO_SETTINGS_MODULE": "surveys.settings",
}


def environment(**changes: str) -> dict[str, str]:
    """Return an environment with the given variables and the ones every process needs."""
    kept = {
        name: os.environ[name]
        for name in ("PATH", "HOME", "TMPDIR", "OPENBLAS_CORETYPE")
        if name in os.environ
    }
    return kept | {name: value for name, value in (GOOD | changes).items() if value}


def wait_until(true: Callable[[], object], seconds: float, every: float = 0.2) -> bool:
    """Wait until a condition is true, within a time limit; check it at intervals, because a check has a cost."""
    deadline = time.monotonic() + seconds
    while time.monotonic() < deadline:
        if true():
            return True
        time.sleep(every)
    return False


def free_port() -> int:
    """Return a free port."""
    with socket.socket() as free:
        free.bind(("127.0.0.1", 0))
        return int(free.getsockname()[1])


def listens(port: int) -> bool:
    """Whether a process listens on a port of this machine."""
    with socket.socket() as probe:
        return probe.connect_ex(("127.0.0.1", port)) == 0


class Processes:
    """Processes of a drill; their output goes to a file that is shown if the drill fails."""

    def __init__(self, folder: Path, **settings: str) -> None:
        self.folder, self.env = folder, environment(ALLOWED_HOSTS="127.0.0.1", HTTPS="off", **settings)
        self.running: list[subprocess.Popen[bytes]] = []

    def start(self, *command: str, group: bool = True) -> subprocess.Popen[bytes]:
        """Start a process in its own group, so that it can be killed with its children."""
        # The processes end with a killed test run, if the system has the tool for that.
        tied = ("setpriv", "--pdeathsig", "KILL", "--") if shutil.which("setpriv") else ()
        with (self.folder / "output.txt").open("ab") as output:
            process = subprocess.Popen(
                (*tied, *command),
                cwd=ROOT,
                env=self.env,
                stdout=output,
                stderr=output,
                start_new_session=group,
            )
        self.running.append(process)
        return process

    def output(self) -> str:
        """Return the end of the output of the processes."""
        return (self.folder / "output.txt").read_text(errors="replace")[-8000:]

    def python(self, *arguments: str, within_seconds: float = 180) -> str:
        """Run a program of this project to its end and return its output."""
        done = subprocess.run(
            [sys.executable, *arguments],
            cwd=ROOT,
            env=self.env,
            capture_output=True,
            text=True,
            timeout=within_seconds,
            check=False,
        )
        assert done.returncode == 0, done.stdout[-4000:] + done.stderr
        return done.stdout

    def seed(self, surveys: int, readings: int) -> dict[str, Any]:
        """Fill the database; see `tests.surveys.drills.seed`."""
        output = self.python("-m", "tests.surveys.drills.seed", str(surveys), str(readings))
        ids: dict[str, Any] = json.loads(output.splitlines()[-1])
        return ids

    def redis(self, port: int) -> subprocess.Popen[bytes]:
        """Start a broker without persistence: after a kill it starts empty."""
        options = ("--bind", "127.0.0.1", "--save", "", "--appendonly", "no")
        process = self.start("redis-server", "--port", str(port), *options)
        assert wait_until(lambda: listens(port), 10), self.output()
        return process

    def worker(self, *more: str) -> subprocess.Popen[bytes]:
        """Start a Celery worker with one process in its pool."""
        options = ("-c", "1", "-l", "warning", "--without-gossip", "--without-mingle", *more)
        return self.start(sys.executable, "-m", "celery", "-A", "surveys.operations", "worker", *options)

    def beat(self) -> subprocess.Popen[bytes]:
        schedule = str(self.folder / "beat")
        return self.start(
            sys.executable,
            "-m",
            "celery",
            "-A",
            "surveys.operations",
            "beat",
            "-l",
            "error",
            "--schedule",
            schedule,
        )

    def server(self) -> str:
        """Start the web server, with the embedded worker if there is no broker; return the address of its API."""
        port = free_port()
        self.start(sys.executable, "manage.py", "serve", "--bind", f"127.0.0.1:{port}")
        assert wait_until(lambda: listens(port), 60), self.output()
        return f"http://127.0.0.1:{port}/api/v1/"

    @staticmethod
    def kill(process: subprocess.Popen[bytes]) -> None:
        """As the kernel would: the whole group at once, no time for anything."""
        with suppress(ProcessLookupError):
            os.killpg(process.pid, signal.SIGKILL)
        process.wait()

    def end(self) -> None:
        for process in self.running:
            self.kill(process)


def post(address: str, token: str, body: Any) -> tuple[int, Any]:
    """Post JSON to the service and return the status and the response."""
    request = urllib.request.Request(  # noqa: S310 - an address of this machine
        address,
        json.dumps(body).encode(),
        {"Content-Type": "application/json", "Authorization": f"Token {token}"},
    )
    try:
        with urllib.request.urlopen(request, timeout=60) as answer:  # noqa: S310
            return answer.status, json.load(answer)
    except urllib.error.HTTPError as rejected:
        with rejected:
            return rejected.code, json.load(rejected)


class Cluster:
    """Separate PostgreSQL that can be stopped without effect on others. Its writes are synced."""

    def __init__(self) -> None:
        self.folder, self.port = Path(tempfile.mkdtemp(prefix="surveys-cluster-")), free_port()
        self.data = self.folder / "data"
        # The server does not start as root.
        self.as_whom = ["runuser", "-u", "postgres", "--"] if os.geteuid() == 0 else []
        if self.as_whom:
            shutil.chown(self.folder, "postgres")
        self._run("initdb", "-D", str(self.data), "-U", "postgres", "-A", "trust", "-E", "UTF8", "--no-sync")
        self.start()

    @property
    def url(self) -> str:
        return f"postgresql://postgres@127.0.0.1:{self.port}/postgres"

    def start(self) -> None:
        options = f"-p {self.port} -c listen_addresses=127.0.0.1 -c unix_socket_directories={self.folder} -c shared_buffers=64MB"
        log = str(self.folder / "server.log")
        self._run("pg_ctl", "-D", str(self.data), "-o", options, "-l", log, "-w", "start")

    def crash(self) -> None:
        """Stop without a checkpoint and without notice to clients: the next start recovers from the log."""
        self._run("pg_ctl", "-D", str(self.data), "-m", "immediate", "-w", "stop")

    def kill(self) -> None:
        """Kill the first of its processes, as the kernel would; the others end when they notice."""
        postmaster = int((self.data / "postmaster.pid").read_text().split()[0])
        os.kill(postmaster, signal.SIGKILL)

    def start_again(self) -> None:
        """Start after a crash; remains of the old server may block the start for a moment."""

        def started() -> bool:
            with suppress(AssertionError):
                self.start()
                return True
            return False

        assert wait_until(started, 60), "the server does not start again"

    def remove(self) -> None:
        with suppress(AssertionError):
            self.crash()
        shutil.rmtree(self.folder, ignore_errors=True)

    def _run(self, program: str, *arguments: str) -> None:
        programs = postgresql_programs()
        assert programs
        # Its output is discarded: the running server would hold a pipe open.
        done = subprocess.run(
            [*self.as_whom, str(programs / program), *arguments],
            cwd=self.folder,
            env={"PATH": os.environ["PATH"], "LC_ALL": "C"},
            stdin=subprocess.DEVNULL,
            stdout=subprocess.DEVNULL,
            stderr=subprocess.DEVNULL,
            timeout=60,
            check=False,
        )
        assert done.returncode == 0, f"{program} {' '.join(arguments)} ended with {done.returncode}"
