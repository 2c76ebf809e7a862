"""Modules loaded before the first request: none that is slow to load and rarely used."""

from __future__ import annotations

import json
import subprocess
import sys

from tests.surveys.drills.processes import ROOT, environment

# Slow to load (a tenth of a second or more) or a separate program; loaded at first use.
HEAVY = {
    "CoolProp", "icalendar", "jsonschema", "openpyxl", "ortools", "pandas", "pint", "pyarrow", "scipy", "typst",
}  # fmt: skip
# Loaded by a process that sends or runs a task, not before the first correction.
OF_TASKS = {"amqp", "billiard", "celery", "kombu", "redis"}
BEGIN = "import json, sys\nimport django\ndjango.setup()\nfrom django.core.management import call_command\n"
END = "\nprint(json.dumps(sorted(sys.modules)))"
ANSWER = "from django.test import Client\ncall_command('check', verbosity=0)\nassert Client().get('/sign-in/').status_code == 200"
MIGRATE = "call_command('migrate', verbosity=0, skip_checks=False)"


def loaded_by(source: str) -> set[str]:
    """Return the modules that a new process has loaded after a statement."""
    env = environment(ALLOWED_HOSTS="testserver", HTTPS="off", DATABASE_URL="sqlite:///:memory:")
    done = subprocess.run(
        [sys.executable, "-c", BEGIN + source + END],
        cwd=ROOT,
        env=env,
        capture_output=True,
        text=True,
        timeout=120,
        check=False,
    )
    assert done.returncode == 0, done.stderr
    return set(json.loads(done.stdout.splitlines()[-1]))


def test_a_running_service_has_loaded_no_heavy_module() -> None:
    loaded = loaded_by(ANSWER)
    assert {"django", "numpy", "surveys.urls", "surveys.services.results.recomputations"} <= loaded
    assert not (HEAVY | OF_TASKS) & loaded


def test_a_migration_loads_nothing_heavy() -> None:
    loaded = loaded_by(MIGRATE)
    assert "surveys.models" in loaded
    assert not (HEAVY | OF_TASKS) & loaded


def test_a_task_has_the_service_s_broker_wherever_it_is_sent_from() -> None:
    # The tasks load their application, because the sender of a task has loaded none of it before.
    assert "surveys.operations.celery" in loaded_by(
        "from surveys.operations import tasks\nassert tasks.recompute.app.main == 'surveys'\n"
        "assert tasks.recompute.app.conf.task_acks_late"
    )
