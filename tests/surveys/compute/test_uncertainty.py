"""Uncertainty over the API, by the contract's fields."""

from __future__ import annotations

import math
from typing import Any

import pytest

from tests.surveys.compute.test_compute import SETUP

pytestmark = pytest.mark.django_db

READINGS = {"transit_time": "314 us", "time_difference": "150 ns"}
INPUTS: dict[str, Any] = {
    "pipe.outer_diameter": {"standard_uncertainty": "0.3 mm"},
    "pipe.wall_thickness": {"half_width": "0.2 mm", "distribution": "rectangular"},
    "readings.time_difference": {"standard_uncertainty": "0.5 ns", "degrees_of_freedom": 9},
    "profile_factor": {"relative_standard_uncertainty": 0.005},
    "meter.calibration": {"standard_uncertainty": 0.004},
}


def ask(api: Any, status: int = 200, query: str = "", **parts: Any) -> Any:
    body = SETUP | {"readings": READINGS, "inputs": INPUTS} | parts
    answer = api.post(f"/api/v1/compute/uncertainty/{query}", body, format="json")
    assert answer.status_code == status, answer.content
    return answer.json()


def test_the_response_has_all_fields_and_its_parts_are_consistent(as_user: Any) -> None:
    found = ask(as_user("owner"))
    combined = found["combined_standard_uncertainty"]["value"]
    contributions = [row["contribution"]["value"] for row in found["budget"]]
    # Uncorrelated: the combined uncertainty is the root of the sum of squares (GUM 5.1.2).
    assert combined == pytest.approx(math.hypot(*contributions), rel=1e-9)
    assert found["expanded_uncertainty"]["value"] == pytest.approx(found["coverage_factor"] * combined)
    relative = found["expanded_uncertainty"]["value"] / found["volume_flow"]["value"]
    assert found["relative_expanded_uncertainty"] == pytest.approx(relative)
    assert sum(row["variance_fraction"] for row in found["budget"]) == pytest.approx(1)
    assert {row["input"] for row in found["budget"]} == set(INPUTS)
    assert found["effective_degrees_of_freedom"] > 9


@pytest.mark.parametrize("query", ["", "?units=us"])
def test_a_contribution_is_sensitivity_times_uncertainty_in_the_units_shown(as_user: Any, query: str) -> None:
    for row in ask(as_user("owner"), query=query)["budget"]:
        uncertainty = row["standard_uncertainty"]
        size = uncertainty["value"] if isinstance(uncertainty, dict) else uncertainty
        assert row["contribution"]["value"] == pytest.approx(
            abs(row["sensitivity"]["value"]) * size, rel=1e-9
        )


def test_a_half_width_is_divided_by_the_root_of_three(as_user: Any) -> None:
    [row] = [row for row in ask(as_user("owner"))["budget"] if row["input"] == "pipe.wall_thickness"]
    assert row["standard_uncertainty"] == {"value": pytest.approx(0.2 / math.sqrt(3)), "unit": "mm"}


def test_a_factor_with_half_a_percent_uncertainty_contributes_half_a_percent_of_the_flow(
    as_user: Any,
) -> None:
    found = ask(as_user("owner"))
    [row] = [row for row in found["budget"] if row["input"] == "profile_factor"]
    assert row["contribution"]["value"] == pytest.approx(0.005 * found["volume_flow"]["value"], rel=1e-9)


def test_an_absolute_uncertainty_of_the_profile_factor_is_relative_to_the_profile_factor(
    as_user: Any,
) -> None:
    owner = as_user("owner")
    flow = owner.post("/api/v1/compute/flow/", SETUP | {"readings": READINGS}, format="json").json()
    [row] = ask(owner, inputs={"profile_factor": {"standard_uncertainty": 0.01}})["budget"]
    assert row["value"] == pytest.approx(flow["profile_factor"], rel=1e-12)
    # Q = pi/4 B^2 k v: a k in doubt by 0.01 is a flow in doubt by 0.01 Q/k.
    expected = 0.01 * flow["volume_flow"]["value"] / flow["profile_factor"]
    assert row["contribution"]["value"] == pytest.approx(expected, rel=1e-6)


def test_the_meter_itself_can_have_an_uncertainty(as_user: Any) -> None:
    found = ask(as_user("owner"), inputs={"meter": {"relative_standard_uncertainty": 0.01}})
    assert found["combined_standard_uncertainty"]["value"] == pytest.approx(
        0.01 * found["volume_flow"]["value"], rel=1e-6
    )


def test_a_sensitivity_to_a_speed_has_an_unambiguous_unit(as_user: Any) -> None:
    inputs = {"transducers.wedge_sound_speed": {"standard_uncertainty": "10 m/s"}}
    [row] = ask(as_user("owner"), inputs=inputs)["budget"]
    assert row["sensitivity"]["unit"] == "(m3/h)/(m/s)"


def test_a_whole_number_of_trials_may_be_written_with_an_exponent(as_user: Any) -> None:
    assert ask(as_user("owner"), monte_carlo_trials=1e4)["monte_carlo"]["trials"] == 10_000
    errors = ask(as_user("owner"), 400, monte_carlo_trials=10_000.5)["errors"]
    assert [(error["field"], error["code"]) for error in errors] == [("monte_carlo_trials", "number-invalid")]


def test_fully_correlated_inputs_add_up(as_user: Any) -> None:
    inputs = {name: {"standard_uncertainty": 0.01} for name in ("meter.calibration", "installation")}
    correlated = ask(
        as_user("owner"), inputs=inputs, correlations=[["meter.calibration", "installation", 1.0]]
    )
    assert correlated["combined_standard_uncertainty"]["value"] == pytest.approx(
        0.02 * correlated["volume_flow"]["value"]
    )


def test_monte_carlo_agrees_and_reports_so(as_user: Any) -> None:
    # Without degrees of freedom: with few, JCGM 101 draws from a t distribution, which is wider than the GUM's normal one.
    inputs = INPUTS | {"readings.time_difference": {"standard_uncertainty": "0.5 ns"}}
    found = ask(as_user("owner"), inputs=inputs, monte_carlo_trials=200_000)
    drawn = found["monte_carlo"]
    assert drawn["standard_uncertainty"]["value"] == pytest.approx(
        found["combined_standard_uncertainty"]["value"], rel=0.02
    )
    assert (
        drawn["symmetric_coverage_interval"]["low"]["value"]
        < found["volume_flow"]["value"]
        < drawn["symmetric_coverage_interval"]["high"]["value"]
    )


def test_the_mediums_temperature_moves_the_wedge_and_so_the_flow_at_measured_transit_times(
    as_user: Any,
) -> None:
    water = {"name": "water", "temperature": "58 degC", "pressure": "6 bar"}
    found = ask(
        as_user("owner"), medium=water, inputs={"medium.temperature": {"standard_uncertainty": "3 degC"}}
    )
    # A PMMA wedge without a coefficient of its own: 2.5 m/s/K of 2625 m/s for 3 K, less a little in the solids; k = 1.96.
    assert found["relative_expanded_uncertainty"] == pytest.approx(1.96 * 3 * 2.5 / 2625, rel=0.15)
    assert found["propagation"]["propagation_method"] == "law-of-propagation"
    [row] = found["budget"]
    assert (
        row["standard_uncertainty"] == {"value": pytest.approx(3.0), "unit": "K"}
        or row["standard_uncertainty"]["unit"]
    )


@pytest.mark.parametrize(
    ("parts", "field", "code"),
    [
        ({"inputs": {}}, "inputs", "not-enough-data"),
        ({"inputs": {"pipe.colour": {"standard_uncertainty": 1}}}, "inputs.pipe.colour", "unknown-name"),
        (
            {"inputs": {"pipe.roughness": {"standard_uncertainty": 1}}},
            "inputs.pipe.roughness.standard_uncertainty",
            "unit-missing",
        ),
        ({"inputs": {"pipe.roughness": {}}}, "inputs.pipe.roughness", "not-enough-data"),
        (
            {"inputs": {"pipe.roughness": {"half_width": "1 mm", "distribution": "normal"}}},
            "inputs.pipe.roughness.distribution",
            "unknown-name",
        ),
        (
            {"inputs": {"medium.temperature": {"standard_uncertainty": "1 degC"}}},
            "inputs.medium.temperature",
            "unknown-name",
        ),
        (
            {"inputs": {"meter.zero": {"relative_standard_uncertainty": 0.1}}},
            "inputs.meter.zero",
            "out-of-range",
        ),
        (
            {"inputs": {"medium.temperature": {"relative_standard_uncertainty": 0.1}}},
            "inputs.medium.temperature.relative_standard_uncertainty",
            "invalid",
        ),
        (
            {"inputs": {"profile_factor": {"standard_uncertainty": 1e-320}}},
            "inputs.profile_factor.standard_uncertainty",
            "out-of-range",
        ),
        ({"coverage_probability": 1.0}, "coverage_probability", "max-value"),
        ({"monte_carlo_trials": 10}, "monte_carlo_trials", "min-value"),
        ({"correlations": [["a", "b"]]}, "correlations", "invalid"),
        ({"correlations": [["profile_factor", "meter.calibration", 2]]}, "correlations", "max-value"),
    ],
)
def test_an_invalid_request_is_a_400_with_its_field(as_user: Any, parts: Any, field: str, code: str) -> None:
    errors = ask(as_user("owner"), 400, **parts)["errors"]
    assert (field, code) in {(error["field"], error["code"]) for error in errors}


def test_a_request_requires_sign_in(as_user: Any) -> None:
    ask(as_user("nobody"), 401)


def test_a_viscosity_known_to_forty_percent_is_accepted_and_drawn_log_normally(as_user: Any) -> None:
    oil = {"sound_speed": "1400 m/s", "density": "870 kg/m3", "dynamic_viscosity": "40 mPa.s"}
    readings = {"transit_time": "340 us", "time_difference": "120 ns"}
    found = ask(
        as_user("owner"),
        medium=oil,
        readings=readings,
        inputs={
            "medium.dynamic_viscosity": {"relative_standard_uncertainty": 0.4},
            "profile_factor": {"relative_standard_uncertainty": 0.05},
        },
        monte_carlo_trials=10_000,
    )
    assert found["propagation"]["propagation_method"] in {"law-of-propagation", "monte-carlo"}
    low, high = (found["propagation"]["coverage_interval"][end]["value"] for end in ("low", "high"))
    assert low < found["volume_flow"]["value"] < high
    assert found["monte_carlo"]["trials"] == 10_000
