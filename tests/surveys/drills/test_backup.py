"""Backup from SQLite to PostgreSQL and back without loss, also during other work."""

from __future__ import annotations

import json
import os
import re
import stat
import subprocess
import sys
from collections.abc import Callable
from hashlib import sha256
from pathlib import Path
from typing import Any

import pytest
import zstandard

from surveys.operations.backup.files import TRAILER_HEAD
from tests.surveys.drills.clients import write_together
from tests.surveys.drills.history import EXCEPTIONS
from tests.surveys.drills.processes import ROOT, Processes, post

pytestmark = pytest.mark.needs_postgresql

SURVEYS = 60
# The worker does one part of the work, claims another and is killed.
HALF = """
import django, sys; django.setup()
from surveys.results import claims, recalculation
from surveys.models import RecomputationItem
recalculation.recomputation_run(sys.argv[1], for_seconds=0); claims.claim(sys.argv[1])
print(sorted(RecomputationItem.objects.filter(recomputation=sys.argv[1]).order_by().values_list("state", flat=True)))
"""
FINISH = """
import django, json, time; django.setup()
from django.db import connection
from surveys.results import recalculation
from surveys.models import Result
from tests.surveys.drills.history import wrong_sentences
while recalculation.recomputation_pending():
    for one in recalculation.recomputations_due(): recalculation.recomputation_run(one)
    time.sleep(0.1)
def ask(query):
    with connection.cursor() as cursor:
        cursor.execute(query)
        return cursor.fetchone()[0]
rows = Result.objects.filter(replaced_at=None).order_by("survey").values_list(
    "survey", "volume_flow_m3_s", "expanded_uncertainty_m3_s", "spacing_m", "pipe_data")
print(json.dumps([wrong_sentences(ask), [[str(v) if not isinstance(v, float) else v.hex() for v in row] for row in rows]]))
"""
# Prepared before the work, taken during the work: the numbers of items done before and after it.
AMIDST = """
import django, sys, time; django.setup()
from pathlib import Path
from django.utils import timezone
from surveys.operations.backup.taking import backup_take
from surveys.models import RecomputationItem, Survey
def done(): return RecomputationItem.objects.filter(state="done").count()
print("ready", flush=True)
while done() < 20 or Survey.objects.count() <= 400: time.sleep(0.02)
first, surveys = done(), Survey.objects.count()
backup_take(Path(sys.argv[1]), now=timezone.now())
print(first, done(), RecomputationItem.objects.count(), surveys, Survey.objects.count())
"""


@pytest.fixture
def place(
    processes: Callable[..., Processes], tmp_path: Path, fresh_postgresql: str
) -> Callable[[str], Processes]:
    """Return processes on a database of this name: `postgresql`, otherwise an SQLite file."""

    def make(name: str) -> Processes:
        url = fresh_postgresql if name == "postgresql" else f"sqlite:///{tmp_path / name}.sqlite3"
        return processes(DATABASE_URL=url, RECOMPUTATION_LEASE_SECONDS="1")

    return make


def rows(drill: Processes) -> dict[str, Any]:
    found: dict[str, Any] = json.loads(drill.python("-m", "tests.surveys.drills.rows"))
    return found


def restored(drill: Processes, file: Path) -> str:
    drill.python("manage.py", "migrate", "-v0")
    return drill.python("manage.py", "restore", str(file))


def rejected(drill: Processes, *command: str) -> str:
    """Return the output of a command that must fail; a traceback is not accepted."""
    done = subprocess.run(
        [sys.executable, "manage.py", *command],
        cwd=ROOT,
        env=drill.env,
        capture_output=True,
        text=True,
        timeout=120,
        check=False,
    )
    assert done.returncode == 1, done.stdout
    assert "Traceback" not in done.stderr
    return done.stderr


def finished(drill: Processes) -> list[Any]:
    wrong, results = json.loads(drill.python("-c", FINISH))
    assert wrong == {}
    assert isinstance(results, list)
    return results


def test_a_trial_grows_into_production_and_back_with_a_recomputation_half_done(
    place: Callable[[str], Processes], tmp_path: Path
) -> None:
    trial, production, back = place("trial"), place("postgresql"), place("back")
    trial.seed(SURVEYS, 40)
    run = trial.python("-m", "tests.surveys.drills.correct", "8.0").split()[0]
    states = trial.python("-c", HALF, run)
    assert [states.count(f"'{state}'") for state in ("done", "running", "waiting")] == [20, 20, 20]

    first, second = tmp_path / "first.backup", tmp_path / "second.backup"
    output = trial.python("manage.py", "backup", str(first))
    assert sha256(first.read_bytes()).hexdigest() in output
    assert f"{SURVEYS + 20:>12,}  surveys_result\n" in output
    assert stat.S_IMODE(first.stat().st_mode) == 0o600
    assert sha256(first.read_bytes()).hexdigest() in restored(production, first)
    production.python("manage.py", "backup", str(second))
    restored(back, second)

    before = rows(trial)
    assert len(before["surveys_readingblock"]) == SURVEYS
    assert before["surveys_auditentry"]
    assert rows(production) == before
    assert rows(back) == before
    finish = finished(trial)
    assert len(finish) == SURVEYS
    assert finished(production) == finish
    assert finished(back) == finish


def test_new_rows_are_numbered_after_those_restored(
    place: Callable[[str], Processes], tmp_path: Path
) -> None:
    trial, production = place("trial"), place("postgresql")
    trial.seed(3, 40)
    trial.python("manage.py", "backup", str(tmp_path / "a.backup"))
    restored(production, tmp_path / "a.backup")
    production.python("-m", "tests.surveys.drills.correct", "8.0")
    assert len(finished(production)) == 3


@pytest.mark.parametrize("source", ["postgresql", "trial"])
def test_it_is_one_moment_though_clients_write_and_a_recomputation_runs(
    place: Callable[[str], Processes], tmp_path: Path, source: str
) -> None:
    fleet, target = place(source), place("target" if source == "postgresql" else "postgresql")
    ids = fleet.seed(400, 40)
    taking = subprocess.Popen(
        [sys.executable, "-c", AMIDST, str(tmp_path / "amidst.backup")],
        cwd=ROOT,
        env=fleet.env,
        stdout=subprocess.PIPE,
        text=True,
    )
    assert taking.stdout
    assert taking.stdout.readline() == "ready\n"
    address = fleet.server()
    body = {"reason": "Gauged.", "pipe": {"wall_thickness": "8.0 mm"}}
    status, answer = post(f"{address}pipes/{ids['pipe']}/corrections/", ids["tokens"]["office"], body)
    assert status == 202, answer
    clients = write_together(address, ids, clients=4, writes=150)
    output = taking.communicate(timeout=120)[0]
    for client in clients:
        client.join()
        assert {status for status, _ in client.answers} == {201}
    first, after, items, surveys, surveys_after = map(int, output.split())
    assert 0 < first < after < items, f"nothing was under way: {output}"
    assert surveys < surveys_after, f"nobody wrote: {output}"

    restored(target, tmp_path / "amidst.backup")
    # True again once the run is finished, which the last line ensures.
    not_yet = {
        "no item is left open",
        "no run is left open",
        "a current result rests on a version nothing corrected",
    }
    requested = {fault: query for fault, query in EXCEPTIONS.items() if fault not in not_yet} | {
        "a survey has a statement in force": """SELECT count(*) FROM surveys_survey s WHERE NOT EXISTS (
            SELECT 1 FROM surveys_surveydata d WHERE d.survey_id = s.id AND d.replaced_at IS NULL)"""
    }
    ask = (
        "import django, json, sys; django.setup()\nfrom django.db import connection\n"
        "def ask(q):\n    with connection.cursor() as c:\n        c.execute(q)\n        return c.fetchone()[0]\n"
        "print(json.dumps({fault: ask(q) for fault, q in json.loads(sys.argv[1]).items()}))"
    )
    counted = json.loads(target.python("-c", ask, json.dumps(requested)))
    assert {fault: count for fault, count in counted.items() if count} == {}
    assert len(finished(target)) == 400


def test_a_damaged_or_truncated_file_is_rejected_and_nothing_is_written(
    place: Callable[[str], Processes], tmp_path: Path
) -> None:
    trial, target = place("trial"), place("target")
    trial.seed(2, 40)
    good = tmp_path / "good.backup"
    trial.python("manage.py", "backup", str(good))
    target.python("manage.py", "migrate", "-v0")
    empty, whole = rows(target), good.read_bytes()
    middle = len(whole) // 2
    corrupt = {
        "cut": whole[:middle],
        "without its end": whole[:-1],
        "one bit turned": whole[:middle] + bytes([whole[middle] ^ 1]) + whole[middle + 1 :],
        "something behind": whole + b"x",
        "empty": b"",
        "no backup": os.urandom(5000),
    }
    for what, content in corrupt.items():
        (tmp_path / "spoilt.backup").write_bytes(content)
        fault = rejected(target, "restore", str(tmp_path / "spoilt.backup"))
        assert "damaged, incomplete or not a backup" in fault, what
    assert "cannot be read" in rejected(target, "restore", str(tmp_path / "nowhere.backup"))
    assert rows(target) == empty
    target.python("manage.py", "restore", str(good))
    assert rows(target) == rows(trial)


def test_only_an_empty_migrated_database_of_the_same_version_is_restored_into(
    place: Callable[[str], Processes], tmp_path: Path
) -> None:
    trial, target = place("trial"), place("target")
    trial.seed(2, 40)
    good = str(tmp_path / "good.backup")
    trial.python("manage.py", "backup", good)
    assert "already exists" in rejected(trial, "backup", good)
    before = rows(trial)
    assert "not empty: surveys_user has" in rejected(trial, "restore", good)
    assert rows(trial) == before

    assert "Run `manage.py migrate`" in rejected(target, "restore", good)
    target.python("manage.py", "migrate", "-v0")
    forget = "import django; django.setup(); from django.db import connection; connection.cursor().execute("
    target.python(
        "-c", forget + "\"DELETE FROM django_migrations WHERE app = 'axes' AND name LIKE '%0009%'\")"
    )
    assert "from a later version" in rejected(target, "restore", good)
    target.python(
        "-c",
        forget
        + "\"INSERT INTO django_migrations (app, name, applied) SELECT app, 'x' || name, applied FROM django_migrations\")",
    )
    assert "lacks the migrations axes.0009" in rejected(target, "restore", good)


def test_a_backup_that_fails_leaves_no_file(place: Callable[[str], Processes], tmp_path: Path) -> None:
    trial = place("trial")
    assert "has no tables" in rejected(trial, "backup", str(tmp_path / "a.backup"))
    assert [one.name for one in tmp_path.iterdir() if "backup" in one.name] == []
    assert "cannot be written" in rejected(trial, "backup", str(tmp_path / "nowhere" / "a.backup"))


def altered(file: Path, change: Callable[[bytes], bytes]) -> Path:
    """Return a backup with other content and a matching checksum."""
    content = change(zstandard.ZstdDecompressor().stream_reader(file.read_bytes()).readall())
    packed = zstandard.ZstdCompressor().compress(content)
    other = file.with_name("altered.backup")
    other.write_bytes(packed + TRAILER_HEAD + sha256(packed).digest())
    return other


def with_wrong_row_count(content: bytes) -> bytes:
    return re.sub(rb'"surveys_client":(\d+)', lambda found: b'"surveys_client":9' + found[1], content)


def without_its_site(content: bytes) -> bytes:
    return re.sub(rb'({"table":"surveys_site",[^\n]*\n)\[[^\n]*\n', rb"\1", content)


def with_nul_character(content: bytes) -> bytes:
    return content.replace(b'"Works"', b'"Works\\u0000"')


@pytest.mark.parametrize(
    ("change", "fault"),
    [
        (with_wrong_row_count, "in surveys_client."),
        (without_its_site, "refers to a row that is not in the backup"),
        (with_nul_character, "rejects a row of surveys_site after 0"),
        (lambda content: content.replace(b'"outer_diameter_m"', b'"diameter_m"'), "surveys_pipedata differs"),
    ],
)
def test_a_rejected_row_undoes_all_rows_before_it(
    place: Callable[[str], Processes], tmp_path: Path, change: Callable[[bytes], bytes], fault: str
) -> None:
    trial, production = place("trial"), place("postgresql")
    trial.seed(1, 40)
    trial.python("manage.py", "backup", str(tmp_path / "good.backup"))
    production.python("manage.py", "migrate", "-v0")
    empty = rows(production)
    assert fault in rejected(production, "restore", str(altered(tmp_path / "good.backup", change)))
    assert rows(production) == empty


LARGE = """
import django, os, resource, sys; django.setup()
from pathlib import Path
from django.utils import timezone
from surveys.operations.backup.restoring import backup_restore
from surveys.operations.backup.taking import backup_take
from surveys.models import Log, LogFilePart
def most(): return resource.getrusage(resource.RUSAGE_SELF).ru_maxrss // 1024
if sys.argv[2] == "take":
    log = Log.objects.first()
    for n in range(1, 151):
        LogFilePart.objects.create(log=log, sequence=n, content=os.urandom(1_000_000))
before = most()
backup_take(Path(sys.argv[1]), now=timezone.now()) if sys.argv[2] == "take" else backup_restore(Path(sys.argv[1]))
print(most() - before)
"""


def test_150_mb_of_files_pass_through_a_third_of_that_memory(
    place: Callable[[str], Processes], tmp_path: Path
) -> None:
    trial, production = place("trial"), place("postgresql")
    trial.seed(1, 40)
    production.python("manage.py", "migrate", "-v0")
    file = tmp_path / "large.backup"
    assert int(trial.python("-c", LARGE, str(file), "take")) < 50
    assert file.stat().st_size > 150_000_000
    assert int(production.python("-c", LARGE, str(file), "restore")) < 50
