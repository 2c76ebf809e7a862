"""Many surveys on one pipe in a short time: the services create one, the others are copies of its rows.

As a program it fills the database of its settings and prints the ids as JSON: `python -m tests.surveys.drills.seed SURVEYS
READINGS`.
"""

from __future__ import annotations

import json
import sys
from types import SimpleNamespace
from typing import TYPE_CHECKING, Any, TypeVar

import django
from django.apps import apps

if not apps.ready:
    django.setup()

from django.core.management import call_command
from django.db import models, transaction
from django.test.utils import override_settings
from django.utils import timezone

from surveys.commands.demo.people import make_cast, make_tokens
from surveys.commands.demo.records import make_job, make_kit
from surveys.models import Client, Result, Site, Survey
from surveys.models.base import uuid7
from tests.surveys.scene import Scene, make_scene

if TYPE_CHECKING:
    from collections.abc import Sequence

M = TypeVar("M", bound=models.Model)


def copied(row: M, **changes: Any) -> M:
    """Return a copy of a row with a new id and the given changes."""
    columns = {f.attname: getattr(row, f.attname) for f in row._meta.concrete_fields if not f.primary_key}
    new = type(row)(**columns)
    for name, value in changes.items():
        setattr(new, name, value)
    return new


@transaction.atomic
def multiply(survey: Survey, count: int) -> list[Survey]:
    """Create more surveys with all their rows: set-up, survey data, log, first result."""
    stated, log, result = survey.stated, survey.log, Result.objects.get(survey=survey)
    surveys = [copied(survey, id=uuid7()) for _ in range(count)]
    setups = [copied(stated.setup, id=uuid7()) for _ in surveys]
    pairs = list(zip(surveys, setups, strict=True))
    statements = [copied(stated, id=uuid7(), survey=s, setup=setup) for s, setup in pairs]
    logs = [copied(log, id=uuid7(), survey=s) for s in surveys]
    parts = [copied(part, log=new) for part in log.file_parts.all() for new in logs]
    blocks = [copied(block, log=new) for block in log.blocks.all() for new in logs]
    results = [
        copied(result, id=uuid7(), survey=new.survey, log=new, survey_data=statement)
        for new, statement in zip(logs, statements, strict=True)
    ]
    for rows in (surveys, setups, statements, logs, parts, blocks, results):
        _store(rows)
    _relate(statements, stated, "instruments")
    _relate(results, result, "calibrations")
    return surveys


def _store(rows: Sequence[Any]) -> None:
    type(rows[0])._default_manager.bulk_create(rows, batch_size=500)


def _relate(rows: Sequence[Any], like: Any, name: str) -> None:
    manager = getattr(like, name)
    through, source, target = manager.through, manager.source_field.attname, manager.target_field.attname
    others = list(manager.values_list("pk", flat=True))
    through.objects.bulk_create(
        [through(**{source: row.pk, target: other}) for row in rows for other in others], batch_size=1000
    )


def populated() -> tuple[Scene, Any]:
    """Return the demo's users and kit with a pipe entered as 6.3 mm where 8.0 mm is correct, in an empty database."""
    # No user signs in by password here, and real hashing takes seconds.
    with override_settings(PASSWORD_HASHERS=["django.contrib.auth.hashers.MD5PasswordHasher"]):
        people = make_cast()
    cast = SimpleNamespace(office=people.users["office"], technician=people.users["technician"])
    site = Site.objects.create(client=Client.objects.all()[0], name="Works", time_zone="Europe/Copenhagen")
    kit = make_kit(people.users["calibration-admin"], timezone.now())
    scene = make_scene(site, cast, kit)
    make_job(scene.point, cast.technician, kit)
    return scene, people


def main(surveys: int, readings: int) -> None:
    """Fill the database and print the data a client needs."""
    call_command("migrate", verbosity=0)
    scene, people = populated()
    first = scene.survey(readings=readings)
    if surveys > 1:
        multiply(Survey.objects.get(pk=first.pk), surveys - 1)
    records = {"pipe": scene.pipe, "point": scene.point, "meter": scene.kit.meter, "survey": first}
    ids = {name: str(record.pk) for name, record in records.items()}
    print(json.dumps(ids | {"setup": str(first.stated.setup_id), "tokens": make_tokens(people)}))  # noqa: T201


if __name__ == "__main__":
    main(int(sys.argv[1]), int(sys.argv[2]))
