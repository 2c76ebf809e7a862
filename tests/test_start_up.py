"""What is loaded before the first request: nothing that takes long and that few requests use."""

from __future__ import annotations

import json
import subprocess
import sys

from tests.surveys.drills.processes import ROOT, environment

# Each takes a tenth of a second or more to load, or is a program of its own; loaded where it is used.
HEAVY = {
    "CoolProp", "icalendar", "jsonschema", "openpyxl", "ortools", "pandas", "pint", "pyarrow", "scipy", "typst",
}  # fmt: skip
READY = """
import json, sys
import django
django.setup()
from django.core.management import call_command
from django.test import Client
call_command("check", verbosity=0)
Client().get("/sign-in/")
print(json.dumps(sorted({name.partition(".")[0] for name in sys.modules})))
"""


def test_nothing_heavy_is_loaded_once_the_service_answers() -> None:
    env = environment(ALLOWED_HOSTS="testserver", HTTPS="off", DATABASE_URL="sqlite:///:memory:")
    done = subprocess.run(
        [sys.executable, "-c", READY],
        cwd=ROOT,
        env=env,
        capture_output=True,
        text=True,
        timeout=120,
        check=False,
    )
    assert done.returncode == 0, done.stderr
    loaded = set(json.loads(done.stdout.splitlines()[-1]))
    assert {"django", "numpy"} <= loaded
    assert not HEAVY & loaded
