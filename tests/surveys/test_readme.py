"""The README's tour, line for line, against the service as a process."""

from __future__ import annotations

import json
import re
import shutil
import subprocess
from collections.abc import Iterator
from pathlib import Path

import pytest

from tests.surveys.drills.processes import ROOT, Processes

# The scenario the tour begins from: what `manage.py demo` makes.
STORY = """
import json, django
django.setup()
from django.core.management import call_command
from surveys.commands.demo.people import make_cast
from surveys.commands.demo.story import run_story
call_command("migrate", verbosity=0)
cast = make_cast()
run_story(cast, lambda text: None)
print(json.dumps(cast.passwords))
"""
# A refusal ends the tour where it happens; curl itself would go on.
STRICT = """
set -euo pipefail
curl() { command curl --fail-with-body --show-error "$@"; }
"""


@pytest.fixture
def processes(tmp_path: Path) -> Iterator[Processes]:
    started = Processes(tmp_path, DATABASE_URL=f"sqlite:///{tmp_path / 'demo.sqlite3'}")
    yield started
    started.end()


@pytest.mark.needs_curl
def test_every_line_of_the_tour_is_answered(processes: Processes, tmp_path: Path) -> None:
    passwords = json.loads(processes.python("-c", STORY).splitlines()[-1])
    shutil.copytree(ROOT / "fixtures" / "logs", tmp_path / "fixtures" / "logs")
    lines = tour().replace("http://127.0.0.1:8000/api/v1", processes.server().rstrip("/"))
    for name, password in passwords.items():
        lines = lines.replace(f"PASSWORD-OF-{name.upper()}", f"'{password}'")
    done = subprocess.run(
        ["bash", "-x", "-c", STRICT + lines],
        cwd=tmp_path,
        capture_output=True,
        text=True,
        timeout=180,
        check=False,
    )
    assert done.returncode == 0, (done.stdout + done.stderr)[-4000:]


def tour() -> str:
    """The README's bash blocks, one after the other."""
    text = (ROOT / "README.md").read_text(encoding="utf-8")
    return "\n".join(re.findall(r"^```bash\n(.*?)^```", text, re.M | re.S))
