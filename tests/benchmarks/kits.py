"""Cost of the suitable kits of a job: 40 points, each on its own pipe, and 200 transducer pairs, through the API.

The floor is the physics alone: each pipe set up against all pairs, without records and sentences.
"""

from __future__ import annotations

from datetime import timedelta

from django.utils import timezone
from rest_framework.test import APIClient

from compute.measuring.suitability import suit
from surveys.commands.demo.people import make_cast
from surveys.commands.demo.records import make_job, make_kit, make_pipe, make_point
from surveys.models import Job, PipeData, TransducerData
from tests.benchmarks.measuring import Figure, Figures, ratio
from tests.compute.cases import steel_setup
from tests.surveys.fleet_size import grow


def figures(small: bool) -> Figures:
    points, pairs, repeats = (3, 4, 1) if small else (40, 200, 5)
    cast = make_cast().users
    kit = make_kit(cast["calibration-admin"], timezone.now())
    job = make_job(make_point(make_pipe(cast["office"])), cast["technician"], kit)
    start = timezone.now() + timedelta(days=1)
    Job.objects.filter(pk=job.pk).update(starts_at=start, ends_at=start + timedelta(hours=6))
    grow(job, kit.pair, points - 1, pairs - 1)
    api = APIClient()
    api.force_authenticate(cast["office"])

    def call() -> None:
        answer = api.get(f"/api/v1/jobs/{job.pk}/suitable-kits/")
        assert answer.status_code == 200, answer.content

    setup = steel_setup()
    faces = [row.entry().transducers for row in TransducerData.objects.all()]
    bores = list(PipeData.objects.values_list("outer_diameter_m", flat=True))

    def physics() -> None:
        for _ in bores:
            suit(setup.pipe, setup.medium, faces, expected_velocity=1.0, timing_resolution=1e-10, room=2.0)

    found = ratio(
        f"suitable kits of a job of {points} points to the physics alone", call, physics, repeats=repeats, size=pairs
    )  # fmt: skip
    yield found
    assert found.seconds
    yield Figure(what="the same", value=found.seconds, unit="s", target=1.0, size=pairs)
