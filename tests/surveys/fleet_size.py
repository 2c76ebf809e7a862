"""Large numbers of records, for tests of speed."""

from __future__ import annotations

from dataclasses import replace

from surveys.models import Instrument, Job, MeasuringPoint, Pipe, PipeData, TransducerData


def grow(job: Job, pair: Instrument, points: int, pairs: int) -> None:
    """More points for a job that has one, each on a pipe of its own, and more pairs like one but for the wedge angle."""
    point = job.measuring_points.first()
    assert point is not None
    first = point.pipe.data.latest("recorded_at")
    pipes = [Pipe(site=job.site, name=f"P{points}-{n}") for n in range(points)]
    Pipe.objects.bulk_create(pipes)
    columns = {field.attname: getattr(first, field.attname) for field in PipeData._meta.concrete_fields}
    del columns["id"]
    PipeData.objects.bulk_create(
        PipeData(**(columns | {"pipe_id": pipe.pk, "outer_diameter_m": 0.1 + n * 0.01}))
        for n, pipe in enumerate(pipes)
    )
    spots = [MeasuringPoint(pipe=pipe, name="A") for pipe in pipes]
    MeasuringPoint.objects.bulk_create(spots)
    job.measuring_points.add(*spots)
    ones = [Instrument(kind="transducer-pair", type_name="clip", serial=f"{pairs}-{n}") for n in range(pairs)]
    Instrument.objects.bulk_create(ones)
    data = pair.transducer_data.latest("recorded_at")
    entry, rows = data.entry(), []
    for n, one in enumerate(ones):
        data = TransducerData(
            instrument=one, reason="x", recorded_at=data.recorded_at, recorded_by=data.recorded_by
        )
        data.set_entry(replace(entry, transducers=replace(entry.transducers, wedge_angle=0.5 + 0.003 * n)))
        rows.append(data)
    TransducerData.objects.bulk_create(rows)
