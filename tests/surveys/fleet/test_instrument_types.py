"""Types of instruments with their capabilities; values of an instrument take precedence."""

from __future__ import annotations

from typing import Any

import pytest
from django.test import Client as Visitor

from surveys.calibration.capabilities import capabilities_of
from surveys.models import Instrument, InstrumentType
from tests.surveys.scene import Scene

pytestmark = pytest.mark.django_db

PATH = "/api/v1/instrument-types/"
METER = {
    "kind": "meter",
    "name": "Portable",
    "timing_resolution": "0.1 ns",
    "min_frequency": "0.5 MHz",
    "max_frequency": "2 MHz",
}


def test_a_type_is_recorded_with_units_and_read_in_others(as_user: Any) -> None:
    records = as_user("office").post(PATH, METER)
    assert records.status_code == 201
    assert records.json()["timing_resolution"] == {"value": 0.1, "unit": "ns"}
    assert InstrumentType.objects.get().max_frequency_hz == 2e6


@pytest.mark.parametrize(
    ("changes", "status", "field"),
    [
        ({"max_frequency": "0.4 MHz"}, 409, "max_frequency"),
        ({"min_frequency": "0.5 mm"}, 400, "min_frequency"),
        ({"min_frequency": 0.5}, 400, "min_frequency"),
        ({"kind": "ruler"}, 400, "kind"),
    ],
)
def test_impossible_values_are_rejected(
    as_user: Any, changes: dict[str, Any], status: int, field: str
) -> None:
    answer = as_user("office").post(PATH, METER | changes)
    assert (answer.status_code, answer.json()["errors"][0]["field"]) == (status, field)
    assert not InstrumentType.objects.exists()


def test_a_kind_has_one_type_of_a_name(as_user: Any) -> None:
    as_user("office").post(PATH, METER)
    assert as_user("office").post(PATH, METER).status_code in {400, 409}
    assert InstrumentType.objects.count() == 1


def test_an_instruments_own_value_takes_precedence_over_its_types(
    as_user: Any, django_assert_num_queries: Any
) -> None:
    as_user("office").post(PATH, METER)
    own = Instrument.objects.create(kind="meter", type_name="Portable", serial="A", timing_resolution_s=2e-10)
    other = Instrument.objects.create(kind="meter", type_name="Portable", serial="B")
    with django_assert_num_queries(2):
        able = capabilities_of([own, other])
    assert able[own.pk].timing_resolution_s == 2e-10
    assert able[other.pk].timing_resolution_s == pytest.approx(1e-10)
    assert able[own.pk].max_frequency_hz == 2e6


def test_a_wall_beyond_the_gauge_and_a_spacing_outside_the_rail_are_unsuitable_with_both_values(
    as_user: Any, site: Any, cast: Any, kit: Any
) -> None:
    from datetime import UTC, datetime, timedelta

    from surveys.models import Job
    from tests.surveys.scene import make_scene

    scene, start = make_scene(site, cast, kit), datetime(2026, 12, 1, 8, tzinfo=UTC)
    job = Job.objects.create(site=site, title="x", starts_at=start, ends_at=start + timedelta(hours=4))
    job.measuring_points.set([scene.point])
    InstrumentType.objects.create(
        kind="thickness-gauge", name=kit.gauge.type_name, min_wall_thickness_m=0.01, max_wall_thickness_m=0.2
    )
    InstrumentType.objects.create(kind="transducer-pair", name=kit.pair.type_name, max_spacing_m=0.1)
    InstrumentType.objects.create(kind="meter", name=kit.meter.type_name, min_frequency_hz=2e6)
    kits = as_user("office").get(f"/api/v1/jobs/{job.pk}/suitable-kits/").json()
    rows = {row["kind"]: row for row in kits}
    [wall] = rows["thickness-gauge"]["unsuitable_reasons"]
    [frequency] = rows["transducer-pair"]["unsuitable_reasons"]
    [path] = rows["transducer-pair"]["measuring_points"]
    [spacing] = path["unsuitable_reasons"]
    # The demo's pipe: a wall of 6.3 mm, a spacing of 159 mm.
    assert wall["code"] == "wall-outside-range"
    assert wall["parameters"]["value"] == {"value": 6.3, "unit": "mm"}
    assert wall["parameters"]["low"] == {"value": 10.0, "unit": "mm"}
    assert wall["parameters"]["high"] == {"value": 200.0, "unit": "mm"}
    assert "the wall is 6.30\xa0mm." in wall["detail"]
    assert spacing["code"] == "spacing-outside-rail"
    assert spacing["parameters"]["low"] is None
    assert spacing["parameters"]["high"] == {"value": 100.0, "unit": "mm"}
    assert spacing["detail"].endswith("The rail allows up to 100.0\xa0mm.")
    # And its 1 MHz are below what the meter supports.
    assert frequency["code"] == "frequency-not-supported"
    assert frequency["detail"] == "No available meter supports 1\xa0MHz."


def test_a_set_up_reports_a_spacing_that_the_rail_of_the_pair_does_not_allow(scene: Scene) -> None:
    InstrumentType.objects.create(kind="transducer-pair", name=scene.kit.pair.type_name, max_spacing_m=0.1)
    outcome = scene.survey().stated.setup.outcome
    [found] = [one for one in outcome["findings"] if one["code"] == "spacing-not-possible"]
    assert found["severity"] == "warning"
    assert found["parameters"]["limit"]["si"] == 0.1


@pytest.mark.parametrize(
    ("who", "status"), [("technician", 403), ("owner", 403), ("nobody", 401), ("calibration_admin", 201)]
)
def test_who_records_types(as_user: Any, who: str, status: int) -> None:
    assert as_user(who).post(PATH, METER).status_code == status


def test_only_pairs_suitable_for_every_point_replace_a_booked_pair(
    as_user: Any, site: Any, cast: Any, kit: Any
) -> None:
    from datetime import UTC, datetime, timedelta

    from django.utils import timezone

    from surveys.models import Booking, Job, TransducerData
    from tests.surveys.scene import make_scene

    scene, start = make_scene(site, cast, kit), datetime(2026, 12, 1, 8, tzinfo=UTC)
    end = start + timedelta(hours=4)
    job = Job.objects.create(site=site, title="x", starts_at=start, ends_at=end)
    job.measuring_points.set([scene.point])
    alike, blind = (
        Instrument.objects.create(kind="transducer-pair", type_name="Pair", serial=serial)
        for serial in ("P-A", "P-B")
    )
    for one, angle in ((alike, 0.733), (blind, 1.5)):
        TransducerData.objects.create(
            instrument=one, frequency_hz=1e6, wedge_sound_speed_m_s=2720.0 if one == alike else 1200.0, wedge_angle_rad=angle,
            recorded_at=timezone.now(), recorded_by=cast.office,
        )  # fmt: skip
    held = Booking.objects.create(
        job=job, instrument=kit.pair, starts_at=start, ends_at=end, booked_by=cast.office, booked_at=start
    )
    proposed = as_user("office").get(f"/api/v1/bookings/{held.pk}/alternatives/").json()
    assert [one["id"] for one in proposed] == [str(alike.pk)]


def test_the_page_of_a_new_type_shows_entered_values_only(as_user: Any, cast: Any) -> None:
    stated = {"kind": "thickness-gauge", "name": "wall gauge", "min_wall_thickness": "1 mm"}
    records = as_user("calibration_admin").post("/api/v1/instrument-types/", stated, format="json").json()
    office = Visitor()
    office.force_login(cast.office, backend="surveys.services.people.sign_in.PeopleBackend")
    page = office.get(f"/office/instrument-types/{records['id']}/").content.decode()
    history = page.partition("Change history")[2]
    assert "Minimum wall thickness: not entered → 1.00\xa0mm" in history
    assert "Note" not in history
