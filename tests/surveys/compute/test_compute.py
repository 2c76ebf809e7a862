"""The stateless computations, by the contract's fields."""

from __future__ import annotations

import copy
from math import asin, cos, radians, sin, tan
from typing import Any

import pytest

from compute.results.survey import METHODS

pytestmark = pytest.mark.django_db

SETUP: dict[str, Any] = {
    "pipe": {"outer_diameter": "219.1 mm", "wall_thickness": "8.0 mm", "material": "carbon-steel", "roughness": "0.045 mm"},
    "medium": {"sound_speed": "1550 m/s", "density": "984 kg/m3", "dynamic_viscosity": "0.48 mPa.s"},
    "transducers": {
        "frequency": "1 MHz", "wedge_sound_speed": "2720 m/s", "wedge_angle": "42 deg", "face_offset": "14 mm", "wedge_delay": "9.8 us",
    },
    "traverses": 2,
}  # fmt: skip


def changed(**parts: Any) -> dict[str, Any]:
    body = copy.deepcopy(SETUP)
    for name, value in parts.items():
        body[name] = {**body[name], **value} if isinstance(value, dict) and name in body else value
    return body


def spacing(api: Any, body: Any, query: str = "") -> Any:
    answer = api.post(f"/api/v1/compute/spacing/{query}", body, format="json")
    assert answer.status_code == 200, answer.content
    return answer.json()


def test_spacing_returns_every_field_with_values_calculated_by_hand(as_user: Any) -> None:
    found = spacing(as_user("owner"), SETUP)
    p = sin(radians(42)) / 2720
    wall, water, bore = asin(p * 3235), asin(p * 1550), 219.1 - 16.0
    advance = 2 * bore * tan(water) + 2 * 8 * tan(wall)
    in_water = 2 * bore / 1000 / (1550 * cos(water)) * 1e6
    in_steel = 2 * 8 / 1000 / (3235 * cos(wall)) * 1e6
    assert (found["traverses"], found["sides"], found["wave_mode_in_wall"]) == (2, "same", "shear")
    assert found["spacing"] == {"value": pytest.approx(advance - 28, rel=1e-9), "unit": "mm"}
    assert found["axial_advance"] == {"value": pytest.approx(advance, rel=1e-9), "unit": "mm"}
    assert found["bore"] == {"value": pytest.approx(bore), "unit": "mm"}
    assert found["angles"]["medium"]["value"] == pytest.approx(water * 180 / 3.141592653589793)
    assert found["time_in_medium"] == {"value": pytest.approx(in_water, rel=1e-9), "unit": "us"}
    assert found["transit_time"]["value"] == pytest.approx(in_water + in_steel + 19.6, rel=1e-9)
    assert found["time_difference_per_velocity"]["value"] == pytest.approx(
        2 * in_water * 1e-6 * p * 1e9, rel=1e-9
    )
    assert found["medium"]["sound_speed"] == {"value": 1550.0, "unit": "m/s"}
    assert {other["traverses"] for other in found["alternatives"]} == {1, 3, 4}
    assert {"findings", "safety_notes"} <= found.keys()


def test_us_units_and_inches_give_the_same_case(as_user: Any) -> None:
    pipe = {"outer_diameter": "8 5/8 in", "wall_thickness": {"value": 0.322, "unit": "in"}}
    metric = {"outer_diameter": "219.075 mm", "wall_thickness": "8.1788 mm"}
    owner = as_user("owner")
    in_inches = spacing(owner, changed(pipe=pipe), "?units=us")
    in_millimetres = spacing(owner, changed(pipe=metric))
    assert in_inches["spacing"]["unit"] == "in"
    assert in_inches["spacing"]["value"] * 25.4 == pytest.approx(
        in_millimetres["spacing"]["value"], rel=1e-12
    )
    assert in_inches["medium"]["sound_speed"]["unit"] == "ft/s"


def test_a_finding_has_its_code_severity_field_words_parameters_and_source(as_user: Any) -> None:
    found = spacing(as_user("owner"), changed(pipe={"outer_diameter": "8 in"}))
    [finding] = [f for f in found["findings"] if f["code"] == "nominal-size-as-outer-diameter"]
    assert finding["field"] == "pipe.outer_diameter"
    assert finding["severity"] == "warning"
    assert finding["title"] == "Nominal size entered as outer diameter"
    assert "an outer diameter of 219.1\xa0mm (ASME B36.10M NPS 8" in finding["detail"]
    assert finding["remedy"].startswith("Measure the circumference")
    assert finding["parameters"]["entered"] == {"value": pytest.approx(203.2), "unit": "mm"}
    assert finding["parameters"]["actual"] == [{"value": pytest.approx(219.075), "unit": "mm"}]
    assert finding["source"]["text"]


def test_a_set_up_without_a_beam_is_a_stop_finding_and_no_spacing(as_user: Any) -> None:
    found = spacing(as_user("owner"), changed(pipe={"wave_mode": "longitudinal"}))
    assert found["spacing"] is None
    [finding] = found["findings"]
    assert (finding["code"], finding["severity"], finding["field"]) == (
        "no-refracted-wave",
        "error",
        "pipe.material",
    )


@pytest.mark.parametrize(
    ("parts", "field", "code"),
    [
        ({"pipe": {"wall_thickness": 8}}, "pipe.wall_thickness", "unit-missing"),
        ({"pipe": {"wall_thickness": "8 degC"}}, "pipe.wall_thickness", "unit-unknown"),
        ({"pipe": {"wall_thickness": "120 mm"}}, "pipe.wall_thickness", "out-of-range"),
        ({"pipe": {"wall_thickness": "8,0 mm"}}, "pipe.wall_thickness", "number-invalid"),
        ({"pipe": {"material": "stele"}}, "pipe.material", "unknown-name"),
        ({"pipe": {"wal": "8 mm"}}, "pipe.wal", "unknown-field"),
        ({"pipe": {"lining": {"material": "epoxy"}}}, "pipe.lining.thickness", "required"),
        ({"medium": {"name": "water"}}, "medium.sound_speed", "both-stated"),
        ({"traverses": 0}, "traverses", "min-value"),
        ({"traverses": True}, "traverses", "number-invalid"),
        ({"traverses": "2"}, "traverses", "number-invalid"),
        ({"transducers": {"wedge_angle": "95 deg"}}, "transducers.wedge_angle", "out-of-range"),
        ({"transducers": {"instrument": "x"}}, "transducers.frequency", "unknown-field"),
        ({"expected_velocity": "1e999 m/s"}, "expected_velocity", "number-invalid"),
        ({"medium": None}, "medium", "null"),
        ({"pipe": "a pipe"}, "pipe", "invalid"),
    ],
)
def test_bad_input_is_a_400_with_its_field_and_code(
    as_user: Any, parts: dict[str, Any], field: str, code: str
) -> None:
    answer = as_user("owner").post("/api/v1/compute/spacing/", changed(**parts), format="json")
    assert answer.status_code == 400
    assert (field, code) in {(error["field"], error["code"]) for error in answer.json()["errors"]}


def test_transducers_may_be_a_pair_of_the_fleet(as_user: Any, kit: Any) -> None:
    body = SETUP | {"transducers": {"instrument": str(kit.pair.pk)}}
    technician = as_user("technician")
    assert spacing(technician, body)["spacing"] == spacing(technician, SETUP)["spacing"]


def flow(api: Any, body: Any) -> Any:
    answer = api.post("/api/v1/compute/flow/", body, format="json")
    assert answer.status_code == 200, answer.content
    return answer.json()


def test_flow_from_one_reading_has_the_contracts_fields(as_user: Any) -> None:
    owner = as_user("owner")
    calculated = spacing(owner, SETUP)
    readings = {"transit_time": calculated["transit_time"], "time_difference": "150 ns"}
    found = flow(owner, SETUP | {"readings": readings})
    per_velocity = calculated["time_difference_per_velocity"]["value"]
    assert found["path_velocity"]["value"] == pytest.approx(150 / per_velocity, rel=1e-9)
    assert found["mean_velocity"]["value"] == pytest.approx(
        found["profile_factor"] * found["path_velocity"]["value"]
    )
    area = 3.141592653589793 / 4 * 0.2031**2
    assert found["volume_flow"] == {
        "value": pytest.approx(area * found["mean_velocity"]["value"] * 3600),
        "unit": "m3/h",
    }
    assert found["reynolds"] == pytest.approx(found["mean_velocity"]["value"] * 0.2031 * 984 / 0.48e-3)
    assert found["measured_sound_speed"]["value"] == pytest.approx(1550.0)


def test_arrays_in_give_arrays_out(as_user: Any) -> None:
    readings = {
        "transit_time": {"values": [314.0, 314.1], "unit": "us"},
        "time_difference": {"values": [150.0, -150.0], "unit": "ns"},
    }
    found = flow(as_user("owner"), SETUP | {"readings": readings})
    assert found["volume_flow"]["unit"] == "m3/h"
    assert len(found["volume_flow"]["values"]) == len(found["reynolds"]) == 2
    assert found["volume_flow"]["values"][1] < 0


def test_logged_velocity_is_corrected_by_the_settings_of_the_meter(as_user: Any) -> None:
    entered = {"pipe": SETUP["pipe"] | {"wall_thickness": "6.3 mm"}, "medium": SETUP["medium"]}
    readings = {"flow_velocity": "1.2 m/s", "sound_speed": "1567 m/s"}
    found = flow(as_user("owner"), SETUP | {"readings": readings, "programmed": entered})
    # Independent of our code: path velocity is dt/(2 p t); entered and true pipe differ in the time in the medium's share only
    # by the wall, so the velocity stays within 1 % and the flow falls with the bore squared.
    area = 3.141592653589793 / 4 * 0.2031**2 * 3600
    assert found["volume_flow"]["value"] == pytest.approx(1.2 * area, rel=0.01)


@pytest.mark.parametrize(
    ("readings", "code"),
    [
        ({}, "not-enough-data"),
        ({"transit_time": "314 us"}, "required"),
        ({"transit_time": "3 us", "time_difference": "1 ns"}, "out-of-range"),
        (
            {
                "transit_time": {"values": [1, 2], "unit": "us"},
                "time_difference": {"values": [1], "unit": "ns"},
            },
            "lengths-differ",
        ),
        (
            {"transit_time": {"values": [], "unit": "us"}, "time_difference": {"values": [], "unit": "ns"}},
            "not-enough-data",
        ),
        ({"flow_velocity": "1 m/s"}, "required"),
    ],
)
def test_unusable_readings_are_rejected(as_user: Any, readings: Any, code: str) -> None:
    answer = as_user("owner").post("/api/v1/compute/flow/", SETUP | {"readings": readings}, format="json")
    assert answer.status_code == 400
    assert code in {error["code"] for error in answer.json()["errors"]}


def test_pipe_sizes_are_found_by_the_contracts_example(as_user: Any) -> None:
    rows = (
        as_user("owner")
        .get("/api/v1/compute/pipe-sizes/", {"size": "NPS 8", "schedule": "40", "units": "us"})
        .json()
    )
    [row] = [row for row in rows if row["standard"] == "ASME B36.10M"]
    # ASME B36.10M: 8.625 in, 0.322 in; bore 7.981 in.
    assert row["outer_diameter"] == {"value": 8.625, "unit": "in"}
    assert row["wall_thickness"]["value"] == pytest.approx(0.322, rel=1e-15)
    assert row["bore"]["value"] == pytest.approx(7.981, rel=1e-12)
    assert row["source"]["text"]


def test_materials_and_media_come_with_their_sources(as_user: Any) -> None:
    owner = as_user("owner")
    materials = {row["name"]: row for row in owner.get("/api/v1/compute/materials/").json()}
    assert materials["carbon-steel"]["shear_sound_speed"] == {"value": 3235.0, "unit": "m/s"}
    media = {row["name"]: row for row in owner.get("/api/v1/compute/media/").json()}
    assert "IAPWS" in media["water"]["source"]["text"]


def test_media_have_ranges_and_uncertainties(as_user: Any) -> None:
    media = {row["name"]: row for row in as_user("owner").get("/api/v1/compute/media/").json()}
    seawater = media["seawater"]
    assert seawater["needs"] == ["temperature", "salinity"]
    assert seawater["composition_range"][1] >= 40
    assert all(0 < row["sound_speed_uncertainty"] < 0.2 for row in media.values())
    assert all(row["source"]["text"] for row in media.values())


@pytest.mark.parametrize(
    ("medium", "published", "tolerance"),
    [
        # Sound speeds at 25 degC: seawater 35 g/kg 1534.6 m/s (Mackenzie 1981 by hand), others CRC Handbook (from memory).
        ({"name": "Seawater", "temperature": "25 degC", "salinity": "35 g/kg"}, 1534.6, 1.5),
        ({"name": "n-octane", "temperature": "25 degC"}, 1172.0, 10.0),
        ({"name": "methanol", "temperature": "25 degC"}, 1103.0, 8.0),
        ({"name": "crude-oil", "temperature": "25 degC", "api_gravity": 35}, 1360.0, 60.0),
        ({"name": "ethylene-glycol-water", "temperature": "20 degC", "mass_fraction": 0.4}, 1645.0, 25.0),
    ],
)
def test_named_media_are_identified_by_their_composition(
    as_user: Any, medium: dict[str, Any], published: float, tolerance: float
) -> None:
    found = spacing(as_user("owner"), SETUP | {"medium": medium})
    assert found["medium"]["sound_speed"]["value"] == pytest.approx(published, abs=tolerance)


def test_the_versions_of_the_method_and_its_customs_can_be_read_with_their_sources(as_user: Any) -> None:
    found = as_user("owner").get("/api/v1/compute/methods/").json()
    assert [row["version"] for row in found["methods"]] == [method.version for method in METHODS]
    assert all(row["source"]["text"] for row in (*found["default_uncertainties"], *found["straight_lengths"]))
    assert "sound-speed-inconsistent" in {row["code"] for row in found["findings"]}


def test_a_wedge_with_a_temperature_coefficient_uses_the_temperature_of_the_medium(as_user: Any) -> None:
    water = {"name": "water", "temperature": "58 degC", "pressure": "6 bar"}
    warming = {"wedge_temperature_coefficient": "-2.5 m/s/K", "wedge_reference_temperature": "20 degC"}
    owner = as_user("owner")
    found = spacing(owner, changed(transducers=warming) | {"medium": water})
    # -2.5 m/s/K over 38 K: 2720 - 95 = 2625 m/s, by hand.
    at_58 = {"wedge_sound_speed": "2625 m/s", "wedge_temperature_coefficient": "0 m/s/K"}
    by_hand = spacing(
        owner, changed(transducers=at_58 | {"wedge_reference_temperature": "58 degC"}) | {"medium": water}
    )
    assert found["spacing"]["value"] == pytest.approx(by_hand["spacing"]["value"], rel=1e-12)
    assert "wedge-temperature-assumed" in {finding["code"] for finding in found["findings"]}
