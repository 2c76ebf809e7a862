"""Tasks that distribute the items of a recomputation without work, to measure the cost of the distribution."""

from __future__ import annotations

import sys
from uuid import UUID

import django
from django.apps import apps

if not apps.ready:
    django.setup()

from celery import Celery
from django.conf import settings
from django.utils import timezone

from surveys.models import Recomputation, RecomputationItem, Survey, User
from surveys.models.base import uuid7
from surveys.models.result import Cause
from surveys.operations import tasks
from surveys.results import claims
from tests.surveys.drills.seed import copied

app = Celery("fan_out")
app.config_from_object("django.conf:settings", namespace="CELERY")


@app.task(name="fan_out.take_one")
def take_one(item: int) -> None:
    """Process one item for one message: claimed and finished by one filtered update, the minimum possible."""
    RecomputationItem.objects.filter(pk=item, state=claims.State.WAITING).update(
        state=claims.State.DONE, finished_at=timezone.now()
    )


@app.task(name="fan_out.take_shares")
def take_shares(recomputation: str) -> None:
    """Process claim after claim for one message until no item is left, as the task of a recomputation does."""
    while claim := claims.claim(UUID(recomputation)):
        RecomputationItem.objects.filter(claimed_by=claim.token).update(
            state=claims.State.DONE, claimed_by=None, finished_at=timezone.now()
        )


def make_items(count: int) -> Recomputation:
    """Create a recomputation with a number of items, each of a separate survey."""
    like = Survey.objects.all()[0]
    surveys = Survey.objects.bulk_create([copied(like, id=uuid7()) for _ in range(count)], batch_size=500)
    run = Recomputation.objects.create(
        cause=Cause.METHOD, reason="x", requested_at=timezone.now(), requested_by=User.objects.all()[0]
    )
    RecomputationItem.objects.bulk_create(
        [RecomputationItem(recomputation=run, survey=s, run_after=timezone.now()) for s in surveys],
        batch_size=500,
    )
    return run


def send(kind: str, run: Recomputation) -> None:
    """Send the messages that distribute the items: one for each item, or as many as a recomputation sends."""
    if kind == "singly":
        for item in RecomputationItem.objects.filter(recomputation=run).values_list("pk", flat=True):
            take_one.apply_async((item,), retry=False)
    else:
        for _ in range(tasks.messages_for(run.items.count())):
            take_shares.apply_async((str(run.pk),), retry=False)


if __name__ == "__main__":
    assert settings.CELERY_BROKER_URL
    run = make_items(int(sys.argv[2]))
    print(run.pk, timezone.now().timestamp(), flush=True)
    send(sys.argv[1], run)
