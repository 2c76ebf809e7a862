"""Recalculated log against one row for each reading with Django's ORM.

What a service without column blocks would do: iterate over the rows, compute each flow, `bulk_update`. Its cost a reading is measured
on fewer rows, for it does not fall with their number.
"""

from __future__ import annotations

import math
from itertools import islice

from django.db import connection, models

from compute.measuring.beam import trace
from compute.measuring.profile import EXCESS, PLUG
from tests.benchmarks.measuring import Figure, Figures, median_seconds
from tests.benchmarks.recompute import SETUP, example_log, recomputed

BATCH_SIZE = 1000


class Reading(models.Model):
    """Row of one reading."""

    transit_time = models.FloatField()
    time_difference = models.FloatField()
    volume_flow = models.FloatField(null=True)

    class Meta:
        app_label = "benchmarks"


def flow_of(transit: float, difference: float) -> float:
    """The flow of one reading in plain Python, as `recompute.by_hand` in numpy."""
    velocity = difference / (2 * PATH.axial_slowness * (transit - PATH.time_in_solids))
    x, smooth = 7.5, 2.51 / (abs(velocity) * PER_VELOCITY)
    for _ in range(6):
        x = -2 * math.log10(ROUGH + smooth * (PLUG * x + EXCESS))
    return velocity * x / (PLUG * x + EXCESS) * AREA


PATH, BORE = trace(SETUP), SETUP.pipe.bore
PER_VELOCITY = BORE * float(SETUP.medium.density) / float(SETUP.medium.dynamic_viscosity)
ROUGH, AREA = SETUP.pipe.roughness / BORE / 3.7, math.pi / 4 * BORE**2


def by_rows() -> None:
    """Read, calculate and write every row."""
    rows = Reading.objects.order_by("pk").iterator(chunk_size=BATCH_SIZE)
    while some := list(islice(rows, BATCH_SIZE)):
        for row in some:
            row.volume_flow = flow_of(row.transit_time, row.time_difference)
        Reading.objects.bulk_update(some, ["volume_flow"], batch_size=BATCH_SIZE)


def figures(small: bool) -> Figures:
    readings, rows, repeats = (2_000, 100, 1) if small else (1_000_000, 20_000, 3)
    with connection.schema_editor() as editor:
        editor.create_model(Reading)
    few = example_log(rows)
    pairs = zip(few.transit_time, few.time_difference, strict=True)
    Reading.objects.bulk_create(
        [Reading(transit_time=transit, time_difference=difference) for transit, difference in pairs],
        batch_size=BATCH_SIZE,
    )
    log = example_log(readings)
    ours = median_seconds(lambda: recomputed(log), repeats) / readings
    row = median_seconds(by_rows, repeats) / rows
    yield Figure(
        what="a reading as a row by the ORM to one in blocks", value=row / ours, target=2000, at_least=True,
        size=readings, seconds=ours, floor_seconds=row,
    )  # fmt: skip
