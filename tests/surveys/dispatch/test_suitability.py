"""Suitable technicians and kits of a job: physics at each point, calendar, calibration; every unsuitable reason."""

from __future__ import annotations

from dataclasses import replace
from datetime import UTC, datetime, timedelta
from typing import Any

import pytest
from django.db import connection
from django.test.utils import CaptureQueriesContext
from django.utils import timezone
from hypothesis import given, settings
from hypothesis import strategies as st

from compute.results.survey import calculate_setup
from surveys.dispatch.availability import Span
from surveys.dispatch.suitable_technicians import within_working_hours
from surveys.models import (
    Instrument,
    Job,
    MeasuringPoint,
    Pipe,
    Qualification,
    TechnicianProfile,
    TransducerData,
)
from tests.surveys.fleet_size import grow
from tests.surveys.scene import Scene

pytestmark = pytest.mark.django_db
HOUR = timedelta(hours=1)


@pytest.fixture
def job(scene: Scene) -> Job:
    start = timezone.now() + timedelta(days=2)
    row = Job.objects.create(site=scene.pipe.site, title="Round", starts_at=start, ends_at=start + 4 * HOUR)
    row.measuring_points.add(scene.point)
    return row


def kits(api: Any, job: Job) -> Any:
    return api.get(f"/api/v1/jobs/{job.pk}/suitable-kits/")


def row_of(rows: list[dict[str, Any]], one: Instrument) -> dict[str, Any]:
    return next(row for row in rows if row["instrument"] == str(one.pk))


def another_pair(kit: Any, cast: Any, serial: str, **figures: Any) -> Instrument:
    pair = Instrument.objects.create(kind="transducer-pair", type_name="clip", serial=serial)
    entry = kit.pair.transducer_data.first().entry()
    bounds = {name: figures.pop(name) for name in list(figures) if name.endswith("temperature")}
    entry = replace(entry, transducers=replace(entry.transducers, **figures), **bounds)
    data = TransducerData(instrument=pair, reason="x", recorded_at=timezone.now(), recorded_by=cast.office)
    data.set_entry(entry)
    data.save()
    return pair


def test_a_pair_is_mounted_as_calculated(as_user: Any, scene: Scene, job: Job, kit: Any) -> None:
    answer = kits(as_user("office"), job)
    assert answer.status_code == 200, answer.content
    row = row_of(answer.json(), kit.pair)
    assert row["suitable"], row
    data = scene.in_force()
    alone = calculate_setup(
        data.pipe_entry(), data.medium_entry(), kit.pair.transducer_data.first().entry(), traverses=None
    )
    (cell,) = row["measuring_points"]
    assert cell["traverses"] == alone.spacing.traverses
    assert cell["spacing"]["value"] == pytest.approx(1e3 * float(alone.spacing.spacing), rel=1e-6)
    assert cell["alternatives"]


def test_each_unsuitable_reason_of_a_pair_has_values(
    as_user: Any, scene: Scene, job: Job, kit: Any, cast: Any
) -> None:
    steep = another_pair(kit, cast, "STEEP", wedge_angle=1.4, wedge_sound_speed=1400.0)
    cold = another_pair(kit, cast, "COLD", max_temperature=300.0)
    quarantined = another_pair(kit, cast, "AWAY")
    Instrument.objects.filter(pk=quarantined.pk).update(state="quarantined")
    rows = kits(as_user("office"), job).json()
    (cell,) = row_of(rows, steep)["measuring_points"]
    assert cell["unsuitable_reasons"][0]["code"] == "no-refracted-wave"
    # By hand: a wedge of 1400 m/s at 20 °C has 1400 - 2.5 x 38 = 1305 m/s at 58 °C. The axial speed of the beam is
    # 1305 m/s / sin(1.4 rad) = 1324 m/s, below every sound speed of steel.
    assert cell["unsuitable_reasons"][0]["parameters"]["limit"]["value"] == pytest.approx(1324, abs=1)
    assert cell["unsuitable_reasons"][0]["parameters"]["value"]["value"] > 3000
    (cell,) = row_of(rows, cold)["measuring_points"]
    (reason,) = cell["unsuitable_reasons"]
    assert reason["code"] == "transducer-temperature"
    assert [reason["parameters"][name]["value"] for name in ("temperature", "limit")] == pytest.approx(
        [58.0, 26.85]
    )
    assert row_of(rows, quarantined)["unsuitable_reasons"][0]["code"] == "quarantined"
    pairs = [row["suitable"] for row in rows if row["kind"] == "transducer-pair"]
    assert pairs == sorted(pairs, reverse=True)


def test_a_pair_with_impossible_data_spoils_no_other(as_user: Any, job: Job, kit: Any, cast: Any) -> None:
    broken = another_pair(kit, cast, "P-broken", wedge_angle=2.0)  # beyond a right angle
    rows = kits(as_user("office"), job).json()
    assert row_of(rows, broken)["measuring_points"][0]["unsuitable_reasons"][0]["code"] == "not-computable"
    assert row_of(rows, kit.pair)["suitable"]


def test_a_spacing_longer_than_the_straight_length_is_unsuitable(
    as_user: Any, scene: Scene, job: Job, kit: Any
) -> None:
    MeasuringPoint.objects.filter(pk=scene.point.pk).update(
        upstream_straight_length_m=0.01, downstream_straight_length_m=0.01
    )
    (cell,) = row_of(kits(as_user("office"), job).json(), kit.pair)["measuring_points"]
    assert cell["unsuitable_reasons"][0]["code"] == "spacing-too-long"
    assert cell["unsuitable_reasons"][0]["parameters"]["limit"]["value"] == pytest.approx(20)


def test_a_velocity_below_the_minimum_of_the_meter_is_unsuitable(
    as_user: Any, scene: Scene, job: Job, kit: Any
) -> None:
    # 2 traverses over a bore of 206.5 mm in water: some 100 ns a m/s, so that 1e-4 m/s gives 0.01 ns (by hand).
    address = f"/api/v1/measuring-points/{scene.point.pk}/setups/"
    body = {"transducers": str(kit.pair.pk), "expected_velocity": "0.0001 m/s"}
    records = as_user("office").post(address, body, format="json")
    assert records.status_code == 201, records.content
    (cell,) = row_of(kits(as_user("office"), job).json(), kit.pair)["measuring_points"]
    assert [one["code"] for one in cell["unsuitable_reasons"]] == ["time-difference-too-small"]


def test_a_point_on_a_pipe_with_no_data_is_named_and_a_job_without_points_is_a_conflict(
    as_user: Any, scene: Scene, job: Job, kit: Any
) -> None:
    bare = MeasuringPoint.objects.create(
        pipe=Pipe.objects.create(site=scene.pipe.site, name="New"), name="Unknown end"
    )
    job.measuring_points.add(bare)
    cells = row_of(kits(as_user("office"), job).json(), kit.pair)["measuring_points"]
    (cell,) = [one for one in cells if one["measuring_point"] == str(bare.pk)]
    assert cell["unsuitable_reasons"][0]["code"] == "pipe-without-data"
    assert "Unknown end" in cell["unsuitable_reasons"][0]["detail"]
    job.measuring_points.clear()
    assert (kits(as_user("office"), job).status_code, kits(as_user("office"), job).json()["code"]) == (
        409,
        "no-points",
    )


@pytest.mark.parametrize(
    ("who", "status"), [("owner", 404), ("stranger", 404), ("nobody", 401), ("technician", 404)]
)
def test_kits_of_a_job_are_for_staff(as_user: Any, job: Job, who: str, status: int) -> None:
    assert kits(as_user(who), job).status_code == status


def test_more_points_and_pairs_cost_no_more_queries(
    as_user: Any, scene: Scene, job: Job, kit: Any, cast: Any
) -> None:
    counts = []
    for points, pairs in ((2, 3), (38, 197)):
        grow(job, kit.pair, points, pairs)
        api = as_user("office")
        kits(api, job)
        with CaptureQueriesContext(connection) as queries:
            assert kits(api, job).status_code == 200
        counts.append(len(queries))
    assert counts[0] == counts[1]


def test_technicians_are_ranked_with_unsuitable_reasons(as_user: Any, job: Job, cast: Any, site: Any) -> None:
    Job.objects.filter(pk=job.pk).update(required_qualifications=["confined-space"])
    type(site).objects.filter(pk=site.pk).update(latitude_deg=0.0, longitude_deg=0.0)
    TechnicianProfile.objects.create(
        id=cast.technician.pk, technician=cast.technician, latitude_deg=0.0, longitude_deg=1.0,
        working_hours={str((job.starts_at.weekday() + 3) % 7): ["08:00", "16:00"]},
    )  # fmt: skip
    address, office = f"/api/v1/jobs/{job.pk}/suitable-technicians/", as_user("office")
    rows = office.get(address).json()
    (row,) = [one for one in rows if one["id"] == str(cast.technician.pk)]
    assert [one["code"] for one in row["unsuitable_reasons"]] == ["not-qualified", "outside-working-hours"]
    # A degree of the equator: 2 pi 6371.0088 km / 360 = 111.195 km (by hand).
    assert row["distance_km"] == 111.2
    Qualification.objects.create(
        technician=cast.technician, slug="confined-space", name="x", issued_on="2020-01-01"
    )
    TechnicianProfile.objects.update(working_hours={})
    (row,) = [one for one in office.get(address).json() if one["id"] == str(cast.technician.pk)]
    assert row["suitable"]
    assert as_user("owner").get(address).json() == []
    assert as_user("stranger").get(address).status_code == 404


@settings(max_examples=50)
@given(st.integers(0, 7 * 24 * 4 - 1), st.integers(1, 16))
def test_a_span_within_a_day_is_worked_through_if_each_quarter_hour_of_it_is(begin: int, length: int) -> None:
    hours = {str(day): ["08:00", "16:00"] for day in range(5)}
    profile, monday = TechnicianProfile(working_hours=hours), datetime(2030, 1, 7, tzinfo=UTC)
    start = monday + begin * HOUR / 4
    span = Span(start, start + length * HOUR / 4)
    quarters = [start + n * HOUR / 4 for n in range(length)]
    worked = all(one.weekday() < 5 and 8 <= one.hour < 16 for one in quarters)
    assert within_working_hours(profile, span) == worked
