"""Cost of the start, against a bare project of Django and the REST framework: CPU time, each in its own process."""

from __future__ import annotations

import resource
import subprocess
import sys
import tempfile
from collections.abc import Callable

from tests.benchmarks.measuring import Clock, Figure, Figures, median_seconds, ratio
from tests.surveys.drills.processes import ROOT, environment

BARE = """
from django.conf import settings
settings.configure(
    SECRET_KEY="x" * 60, ALLOWED_HOSTS=["testserver"], ROOT_URLCONF="tests.benchmarks.bare",
    DATABASES={"default": {"ENGINE": "django.db.backends.sqlite3", "NAME": ":memory:"}},
    INSTALLED_APPS=[
        "django.contrib.admin", "django.contrib.auth", "django.contrib.contenttypes", "django.contrib.sessions",
        "django.contrib.messages", "django.contrib.staticfiles", "rest_framework",
    ],
    MIDDLEWARE=[
        "django.contrib.sessions.middleware.SessionMiddleware", "django.contrib.auth.middleware.AuthenticationMiddleware",
        "django.contrib.messages.middleware.MessageMiddleware",
    ],
    TEMPLATES=[{
        "BACKEND": "django.template.backends.django.DjangoTemplates", "APP_DIRS": True,
        "OPTIONS": {"context_processors": [
            "django.template.context_processors.request", "django.contrib.auth.context_processors.auth",
            "django.contrib.messages.context_processors.messages",
        ]},
    }],
)
"""
READY = "import django\ndjango.setup()\n"
CHECK = READY + "from django.core.management import call_command\ncall_command('check', verbosity=0)\n"
REQUEST = READY + "from django.test import Client\nassert Client().get({!r}).status_code == {}\n"


def of_children() -> float:
    """Return the CPU time of the ended child processes."""
    used = resource.getrusage(resource.RUSAGE_CHILDREN)
    return used.ru_utime + used.ru_stime


CHILDREN: Clock = of_children


def program(source: str) -> Callable[[], None]:
    """Run a Python program in a process to its end."""
    env = environment(ALLOWED_HOSTS="testserver", HTTPS="off", DATABASE_URL="sqlite:///:memory:")

    def run() -> None:
        subprocess.run([sys.executable, "-c", source], cwd=ROOT, env=env, check=True, capture_output=True)

    return run


def first_migration() -> None:
    """Run `manage.py migrate` on a new SQLite file."""
    with tempfile.TemporaryDirectory() as folder:
        subprocess.run(
            [sys.executable, "manage.py", "migrate", "--verbosity", "0"], cwd=ROOT,
            env=environment(DATABASE_URL=f"sqlite:///{folder}/new.sqlite3"), check=True, capture_output=True,
        )  # fmt: skip


def figures(small: bool) -> Figures:
    repeats = 1 if small else 11
    bare_request = BARE + REQUEST.format("/empty/", 200)
    yield ratio(
        "`manage.py check` to that of a bare DRF project", program(CHECK), program(BARE + CHECK),
        repeats=repeats, clock=CHILDREN, target=1.2,
    )  # fmt: skip
    yield ratio(
        "start and first page to start and first answer of a bare DRF project",
        program(REQUEST.format("/sign-in/", 200)), program(bare_request), repeats=repeats, clock=CHILDREN,
    )  # fmt: skip
    yield ratio(
        "start and first call of the API to the same",
        program(REQUEST.format("/api/v1/me/", 401)), program(bare_request), repeats=repeats, clock=CHILDREN,
    )  # fmt: skip
    yield Figure(
        what="CPU time of a first `migrate` of SQLite", value=median_seconds(first_migration, repeats, CHILDREN),
        unit="s", target=4,
    )  # fmt: skip
