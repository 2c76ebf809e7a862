"""Corrections, recomputations and log imports at the same time, from threads and processes."""

from __future__ import annotations

import contextlib
import io
import random
import subprocess
import sys
import threading
import urllib.error
import urllib.request
from collections.abc import Callable
from concurrent.futures import ThreadPoolExecutor
from functools import partial
from typing import Any

import psycopg
import pytest
from django.db import connection
from django.utils import timezone

from surveys.core.errors import Conflict
from surveys.models import Recomputation, Survey
from surveys.results import recalculation
from surveys.services.surveys import logs as services
from surveys.services.surveys.logs import Upload, log_import
from surveys.services.surveys.surveys import SurveyNotes, survey_record
from tests.surveys.drills.history import wrong_sentences
from tests.surveys.drills.processes import ROOT, Processes, post, wait_until
from tests.surveys.drills.seed import multiply
from tests.surveys.scene import STARTED, Scene, current, log, make_scene

THREADS, CORRECTIONS = 8, 50


@pytest.fixture
def scene(site: Any, cast: Any, kit: Any) -> Scene:
    records = make_scene(site, cast, kit)
    records.correct(0.008)
    return records


def ask(query: str) -> Any:
    with connection.cursor() as cursor:
        cursor.execute(query)
        return cursor.fetchone()[0]


def thread(do: Callable[[], object]) -> threading.Thread:
    """Return a started thread that leaves no connection open."""

    def run() -> None:
        try:
            do()
        finally:
            connection.close()

    started = threading.Thread(target=run)
    started.start()
    return started


def join(threads: list[threading.Thread]) -> None:
    for one in threads:
        one.join()


def run_all_recomputations() -> None:
    for due in recalculation.recomputations_due():
        recalculation.recomputation_run(due)


@pytest.mark.django_db(transaction=True)
def test_fifty_corrections_from_eight_threads_with_workers_at_it_end_on_the_last(scene: Scene) -> None:
    surveys = [scene.survey(readings=40)]
    surveys += multiply(Survey.objects.get(pk=surveys[0].pk), 3)
    walls = [0.0076 + 0.00001 * n for n in range(CORRECTIONS)]
    random.shuffle(walls)
    done = threading.Event()

    def correct_in_turn() -> None:
        while walls:
            with contextlib.suppress(IndexError):
                wall = walls.pop()
                while True:
                    # Another user may have corrected the same version: read it again, as a person would.
                    with contextlib.suppress(Conflict):
                        scene.correct(wall)
                        break

    def work() -> None:
        while not done.is_set():
            run_all_recomputations()

    workers = [thread(work) for _ in range(2)]
    join([thread(correct_in_turn) for _ in range(THREADS)])
    done.set()
    join(workers)
    run_all_recomputations()
    assert Recomputation.objects.count() == CORRECTIONS + 1
    last = scene.in_force()
    assert {current(survey).pipe_data_id for survey in surveys} == {last.pk}
    assert wrong_sentences(ask) == {}


@pytest.mark.django_db(transaction=True)
def test_a_correction_during_a_log_import_reaches_its_result(
    scene: Scene, monkeypatch: pytest.MonkeyPatch
) -> None:
    first = scene.survey()
    survey = survey_record(
        point=scene.point,
        setup=first.stated.setup,
        job=None,
        instruments=[scene.kit.meter],
        notes=SurveyNotes(started_at=STARTED),
        by=scene.cast.technician,
        now=timezone.now(),
    )
    reduce, reducing = services.survey_reduce, threading.Event()

    def reduce_slowly(inputs: Any, held: Any = None) -> Any:
        reducing.set()
        # The first reduction runs outside any transaction: the correction occurs in between and is detected.
        correction.join(30)
        return reduce(inputs, held)

    def correct() -> None:
        assert reducing.wait(30)
        scene.correct(0.0079)

    monkeypatch.setattr(services, "survey_reduce", reduce_slowly)
    correction = thread(correct)
    log_import(
        survey=survey,
        upload=Upload(io.BytesIO(log(80)), "a.csv"),
        by=scene.cast.technician,
        now=timezone.now(),
    )
    correction.join()
    run_all_recomputations()
    assert [result.pipe_data.wall_thickness_m for result in survey.results.all()] == [0.0079]
    assert wrong_sentences(ask) == {}


@pytest.mark.needs_postgresql
def test_a_task_delivered_three_times_at_once_to_three_processes_makes_one_result_each(
    processes: Callable[..., Processes], fresh_postgresql: str
) -> None:
    drill = processes(DATABASE_URL=fresh_postgresql, CELERY_BROKER_URL="redis://127.0.0.1:1/0")
    ids = drill.seed(120, 40)
    correction = {"reason": "Gauged.", "pipe": {"wall_thickness": "8.0 mm"}}
    address = f"{drill.server()}pipes/{ids['pipe']}/corrections/"
    status, answer = post(address, ids["tokens"]["office"], correction)
    assert status == 202, answer
    deliver = f"import django; django.setup(); from surveys.operations.tasks import recompute; recompute('{answer['recomputation']['id']}')"
    delivered = [subprocess.Popen([sys.executable, "-c", deliver], cwd=ROOT, env=drill.env) for _ in range(3)]
    assert [process.wait(120) for process in delivered] == [0, 0, 0]
    with psycopg.connect(fresh_postgresql) as database:
        requested = partial(figure, database)
        assert requested("SELECT count(*) FROM surveys_result") == 2 * 120
        assert wrong_sentences(requested) == {}


@pytest.mark.needs_postgresql
def test_a_reference_to_an_instrument_a_pipe_or_a_user_does_not_block_their_changes(
    processes: Callable[..., Processes], fresh_postgresql: str
) -> None:
    """Locks taken here in any order caused deadlocks between log imports and accepted plans."""
    drill = processes(DATABASE_URL=fresh_postgresql)
    ids = drill.seed(1, 40)
    address, office = drill.server(), ids["tokens"]["office"]
    body = {
        "measuring_point": ids["point"], "setup": ids["setup"], "instruments": [ids["meter"]],
        "started_at": STARTED.isoformat(),
    }  # fmt: skip
    survey = post(f"{address}surveys/", office, body)[1]["id"]
    with psycopg.connect(fresh_postgresql) as another:
        # Locks held by a transaction that has stored a record with a foreign key to these.
        for table in ("instrument", "pipe", "user", "survey"):
            another.execute(f"SELECT id FROM surveys_{table} FOR KEY SHARE")
        sent = urllib.request.Request(  # noqa: S310 - an address of this machine
            f"{address}surveys/{survey}/log/?name=a.csv",
            log(40),
            {"Content-Type": "text/csv", "Authorization": f"Token {office}"},
        )
        with urllib.request.urlopen(sent, timeout=30) as answer:  # noqa: S310
            assert answer.status == 201
        measured_wall = {"reason": "Gauged.", "pipe": {"wall_thickness": "8.0 mm"}}
        assert post(f"{address}pipes/{ids['pipe']}/corrections/", office, measured_wall)[0] == 202
        assert post(f"{address}surveys/{survey}/reports/", office, {})[0] == 201
        held = {
            "job": figure(another, "SELECT id::text FROM surveys_job"),
            "technician": figure(another, "SELECT id::text FROM surveys_user WHERE role = 'technician'"),
            "starts_at": "2026-12-01T08:00:00Z",
            "ends_at": "2026-12-01T09:00:00Z",
        }
        assert post(f"{address}bookings/", office, held)[0] == 201


@pytest.mark.needs_postgresql
def test_a_table_of_certificates_and_a_log_import_at_the_same_time_wait_for_each_other(
    processes: Callable[..., Processes], fresh_postgresql: str
) -> None:
    """The log held the first instrument and waited for the last, the table the reverse: a deadlock, and 503 for one of them."""
    drill = processes(DATABASE_URL=fresh_postgresql)
    ids = drill.seed(1, 40)
    address, office, admin = drill.server(), ids["tokens"]["office"], ids["tokens"]["calibration-admin"]
    body = {
        "measuring_point": ids["point"], "setup": ids["setup"], "instruments": [ids["meter"]],
        "started_at": STARTED.isoformat(),
    }  # fmt: skip
    survey = post(f"{address}surveys/", office, body)[1]["id"]
    with (
        psycopg.connect(fresh_postgresql) as another,
        psycopg.connect(fresh_postgresql, autocommit=True) as watching,
        ThreadPoolExecutor() as threads,
    ):
        kit = "SELECT serial FROM surveys_instrument WHERE kind IN ('meter', 'transducer-pair') ORDER BY id"
        serials = [row[0] for row in another.execute(kit)]
        rows = [
            f"{serial},B-{serial},Harbour Row Calibration,2026-09-01,2027-09-01"
            for serial in reversed(serials)
        ]
        table = "\n".join(["serial,certificate,laboratory,calibrated_on,due_on", *rows])

        def waiting() -> int:
            requested = "SELECT count(*) FROM pg_stat_activity WHERE datname = current_database() AND wait_event_type = 'Lock'"
            return int(figure(watching, requested))

        # Both wait for the first instrument, which is locked here, the log before the table.
        another.execute("SELECT id FROM surveys_instrument WHERE serial = %s FOR NO KEY UPDATE", [serials[0]])
        taken_in = threads.submit(send, f"{address}surveys/{survey}/log/?name=a.csv", office, log(40))
        assert wait_until(lambda: waiting() == 1, 30)
        recorded = threads.submit(send, f"{address}calibrations/bulk/", admin, table.encode())
        assert wait_until(lambda: waiting() == 2, 30)
        another.rollback()
        assert (taken_in.result(30), recorded.result(30)) == (201, 201)
        records = "SELECT count(*) FROM surveys_calibration WHERE certificate LIKE 'B-%'"
        assert figure(watching, records) == len(rows)


def send(address: str, token: str, content: bytes) -> int:
    """Send a file to the service and return the status."""
    request = urllib.request.Request(  # noqa: S310 - an address of this machine
        address, content, {"Content-Type": "text/csv", "Authorization": f"Token {token}"}
    )
    try:
        with urllib.request.urlopen(request, timeout=60) as answer:  # noqa: S310
            return int(answer.status)
    except urllib.error.HTTPError as error:
        return error.code


def figure(database: psycopg.Connection[Any], query: str) -> Any:
    row = database.execute(query).fetchone()
    assert row
    return row[0]
