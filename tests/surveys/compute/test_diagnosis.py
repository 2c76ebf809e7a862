"""The diagnosis over the API, by the contract's fields."""

from __future__ import annotations

import copy
from typing import Any

import pytest

pytestmark = pytest.mark.django_db

URL = "/api/v1/compute/diagnosis/"
BODY: dict[str, Any] = {
    "pipe": {"outer_diameter": "200 mm", "wall_thickness": "8.0 mm", "material": "carbon-steel", "roughness": "0.045 mm"},
    "medium": {"sound_speed": "1550 m/s", "density": "984 kg/m3", "dynamic_viscosity": "0.48 mPa.s"},
    "transducers": {
        "frequency": "1 MHz", "wedge_sound_speed": "2720 m/s", "wedge_angle": "42 deg", "face_offset": "14 mm", "wedge_delay": "9.8 us",
    },
    "traverses": 2,
    "measured_sound_speed": "1380 m/s",
}  # fmt: skip


def diagnosis_response(api: Any, query: str = "", **changes: Any) -> Any:
    body = {**copy.deepcopy(BODY), **changes}
    return api.post(
        URL + query, {name: value for name, value in body.items() if value is not None}, format="json"
    )


def test_a_nominal_diameter_is_found_with_every_field_of_the_contract(as_user: Any) -> None:
    # DN 200 measures 219.1 mm (EN 10220): 10.4 % more bore at the same time is 10 % more sound speed, 1380 to about 1550.
    answer = diagnosis_response(as_user("owner"))
    assert answer.status_code == 200, answer.content
    found = answer.json()
    first = found["possible_causes"][0]
    assert found["consistent"] is False
    assert found["measured_sound_speed"] == {"value": pytest.approx(1380.0), "unit": "m/s"}
    assert found["expected_sound_speed"] == {"value": 1550.0, "unit": "m/s"}
    assert first["field"] == "pipe.outer_diameter"
    assert first["entered"] == {"value": pytest.approx(200.0), "unit": "mm"}
    assert first["implied_value"] == {"value": pytest.approx(219.1), "unit": "mm"}
    assert first["nearest_standard"]["size"] == "DN 200"
    assert 0.5 < first["probability"] <= 1
    assert first["effect_on_flow"] == pytest.approx((203.1 / 184.0) ** 2 - 1, abs=3e-3)
    assert "nominal" in first["detail"]
    assert "sound-speed-inconsistent" in {finding["code"] for finding in found["findings"]}


def test_a_consistent_sound_speed_is_reported(as_user: Any) -> None:
    found = diagnosis_response(as_user("owner"), measured_sound_speed="1549 m/s").json()
    assert (found["consistent"], found["possible_causes"]) == (True, [])


def test_feet_and_inches_are_returned_on_request(as_user: Any) -> None:
    found = diagnosis_response(as_user("owner"), "?units=us").json()
    assert found["expected_sound_speed"]["unit"] == "ft/s"
    assert found["possible_causes"][0]["implied_value"] == {
        "value": pytest.approx(219.1 / 25.4),
        "unit": "in",
    }


def test_a_transit_time_does_in_place_of_the_sound_speed(as_user: Any) -> None:
    owner = as_user("owner")
    mounted = {**copy.deepcopy(BODY), "traverses": 3}
    del mounted["measured_sound_speed"]
    time = owner.post("/api/v1/compute/spacing/", mounted, format="json").json()["transit_time"]
    found = diagnosis_response(owner, measured_sound_speed=None, transit_time=time).json()
    assert (found["possible_causes"][0]["field"], found["possible_causes"][0]["implied_value"]) == (
        "traverses",
        3,
    )


def test_a_lining_comes_with_its_material(as_user: Any) -> None:
    sure = {
        "pipe.outer_diameter": {"standard_uncertainty": "0.2 mm"},
        "pipe.wall_thickness": {"standard_uncertainty": "0.1 mm"},
    }
    found = diagnosis_response(as_user("owner"), measured_sound_speed="1610 m/s", inputs=sure).json()
    linings = [one for one in found["possible_causes"] if one["field"] == "pipe.lining"]
    assert linings[0]["entered"] is None
    assert linings[0]["implied_value"]["thickness"]["unit"] == "mm"
    assert linings[0]["implied_value"]["material"]


def test_a_diagnosis_requires_sign_in(as_user: Any) -> None:
    assert diagnosis_response(as_user("nobody")).status_code == 401


@pytest.mark.parametrize(
    ("changes", "field"),
    [
        ({"measured_sound_speed": None}, "measured_sound_speed"),
        ({"transit_time": "300 us"}, "transit_time"),
        ({"traverses": None}, "traverses"),
        ({"measured_sound_speed": "1380"}, "measured_sound_speed"),
        ({"measured_sound_speed": "9000 m/s"}, "measured_sound_speed"),
        ({"inputs": {"pipe.roughness": {"standard_uncertainty": "0.01 mm"}}}, "inputs.pipe.roughness"),
    ],
)  # fmt: skip
def test_invalid_input_of_a_diagnosis_is_rejected_with_its_field(
    as_user: Any, changes: Any, field: str
) -> None:
    answer = diagnosis_response(as_user("owner"), **changes)
    assert answer.status_code == 400
    assert answer.json()["errors"][0]["field"] == field
