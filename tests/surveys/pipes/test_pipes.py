"""Real pipes: several linings, out of round, measured cold, or measured with another gauge velocity."""

from __future__ import annotations

from typing import Any

import pytest

from tests.surveys.api.test_main_job import MEDIUM, PIPE, post
from tests.surveys.compute.test_compute import SETUP, changed, spacing

pytestmark = pytest.mark.django_db


def make(api: Any, site: Any, **parts: Any) -> Any:
    return post(api, "pipes/", {"site": str(site.pk), "name": "Line", "pipe": PIPE | parts, "medium": MEDIUM})


def test_several_linings_narrow_the_bore_and_come_back_as_entered(as_user: Any, site: Any) -> None:
    linings = {
        "lining": {"material": "cement-mortar", "thickness": "4 mm"},
        "further_linings": [{"material": "epoxy", "thickness": "0.5 mm"}],
    }
    data = make(as_user("office"), site, **linings)["data"]["pipe"]
    # 219.1 - 2 (6.3 + 4 + 0.5) = 197.5 mm.
    assert data["bore"]["value"] == pytest.approx(197.5)
    assert data["further_linings"] == [
        {"material": "epoxy", "thickness": {"value": pytest.approx(0.5), "unit": "mm"}}
    ]


def test_linings_that_fill_the_pipe_are_rejected_before_anything_is_stored(as_user: Any, site: Any) -> None:
    body = {"site": str(site.pk), "name": "Line", "medium": MEDIUM}
    body["pipe"] = PIPE | {
        "lining": {"material": "cement-mortar", "thickness": "4 mm"},
        "further_linings": [{"material": "epoxy", "thickness": "110 mm"}],
    }
    answer = as_user("office").post("/api/v1/pipes/", body, format="json")
    assert (answer.status_code, answer.json()["errors"][0]["field"]) == (400, "pipe.lining.thickness")
    assert as_user("office").get("/api/v1/pipes/").json()["results"] == []


def test_a_pipe_measured_cold_is_larger_when_hot(as_user: Any) -> None:
    owner = as_user("owner")
    hot = changed(pipe={"dimensions_temperature": "20 degC"}) | {"medium": MEDIUM}
    found = spacing(owner, hot)
    # Carbon steel 12e-6 /K over 38 K: 0.0456 % of a bore of 203.1 mm.
    assert found["bore"]["value"] == pytest.approx(203.1 * (1 + 12e-6 * 38), rel=1e-9)
    assert "dimensions-expanded" in {finding["code"] for finding in found["findings"]}


def test_an_out_of_round_pipe_is_a_warning_and_requires_both_diameters(as_user: Any) -> None:
    owner = as_user("owner")
    oval = {"max_outer_diameter": "222 mm", "min_outer_diameter": "216 mm"}
    assert "pipe-out-of-round" in {
        finding["code"] for finding in spacing(owner, changed(pipe=oval))["findings"]
    }
    for half in ({"max_outer_diameter": "222 mm"}, oval | {"min_outer_diameter": None}):
        answer = owner.post("/api/v1/compute/spacing/", changed(pipe=half), format="json")
        assert answer.status_code == 400
    assert SETUP["traverses"] == 2


def test_a_thickness_gauge_set_to_another_velocity_is_corrected(as_user: Any, site: Any, kit: Any) -> None:
    office = as_user("office")
    pipe = make(office, site)
    body = {
        "gauge": str(kit.gauge.pk),
        "readings": ["8.00 mm", "8.00 mm"],
        "gauge_velocity_setting": "5740 m/s",
    }
    found = post(office, f"pipes/{pipe['id']}/wall-measurements/", body)
    # Carbon steel 5960 m/s at 20 °C, 0.6 m/s less per kelvin, at 58 °C: 8.00 x 5937.2/5740 = 8.275 mm.
    assert found["mean"]["value"] == pytest.approx(8.00 * 5937.2 / 5740)
    assert found["readings"][0] == {"value": pytest.approx(8.0), "unit": "mm"}


@pytest.mark.parametrize(
    ("body", "field"),
    [
        ({"readings": ["8 mm"]}, "readings"),
        ({"readings": ["8 mm", "-8 mm"]}, "readings"),
        ({"readings": [8, 8]}, "readings.0"),
    ],
)
def test_unusable_readings_are_rejected(as_user: Any, site: Any, kit: Any, body: Any, field: str) -> None:
    office = as_user("office")
    pipe = make(office, site)
    answer = office.post(
        f"/api/v1/pipes/{pipe['id']}/wall-measurements/", {"gauge": str(kit.gauge.pk)} | body, format="json"
    )
    assert answer.status_code == 400
    assert answer.json()["errors"][0]["field"].startswith(field.split(".")[0])


def test_a_worn_pipe_shows_in_its_wall_measurement(as_user: Any, site: Any, kit: Any) -> None:
    office = as_user("office")
    pipe = make(office, site)
    body = {"gauge": str(kit.gauge.pk), "readings": ["8.0 mm", "7.9 mm", "6.6 mm", "7.1 mm"]}
    found = post(office, f"pipes/{pipe['id']}/wall-measurements/", body)
    assert [finding["code"] for finding in found["findings"]] == ["wall-thickness-uneven"]
    assert found["minimum"]["value"] == pytest.approx(6.6)


def test_a_coarse_meter_is_given_more_traverses(as_user: Any, site: Any, kit: Any) -> None:
    administrator, office = as_user("administrator"), as_user("office")
    meter = post(
        administrator,
        "instruments/",
        {"kind": "meter", "type_name": "old", "serial": "M-1", "timing_resolution": "2 ns"},
    )
    assert meter["timing_resolution"] == {"value": pytest.approx(2.0), "unit": "ns"}
    point = post(office, "measuring-points/", {"pipe": make(office, site)["id"], "name": "Here"})
    wish = {"transducers": str(kit.pair.pk), "expected_velocity": "1.2 m/s"}
    path = f"measuring-points/{point['id']}/setups/"
    assert post(office, path, wish)["traverses"] == 2
    assert post(office, path, wish | {"meter": meter["id"]})["traverses"] == 4
