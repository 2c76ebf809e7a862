"""Hostile values: any input gives a problem document with its field, never a server error."""

from __future__ import annotations

import copy
from typing import Any

import pytest
from rest_framework.test import APIClient

from compute.base.units import KINDS
from surveys.inputs.limits import LIMITS

pytestmark = pytest.mark.django_db

SITES = "/api/v1/sites/"
SETUP: dict[str, Any] = {
    "pipe": {
        "outer_diameter": "0.2191 m", "wall_thickness": "0.008 m", "roughness": "4.5e-5 m",
        "material": {"longitudinal_sound_speed": "5900 m/s", "shear_sound_speed": "3235 m/s"},
        "lining": {"material": "cement-mortar", "thickness": "0.003 m"},
    },
    "medium": {"sound_speed": "1550 m/s", "density": "984 kg/m3", "dynamic_viscosity": "4.8e-4 Pa.s"},
    "transducers": {
        "frequency": "1e6 Hz", "wedge_sound_speed": "2720 m/s", "wedge_angle": "0.733 rad", "face_offset": "0.014 m",
        "wedge_delay": "9.8e-6 s",
    },
    "traverses": 2,
    "expected_velocity": "1 m/s",
    "readings": {"transit_time": "3.3e-4 s", "time_difference": "1.5e-7 s"},
}  # fmt: skip
QUANTITIES = [
    "pipe.outer_diameter", "pipe.wall_thickness", "pipe.roughness", "pipe.material.longitudinal_sound_speed",
    "pipe.material.shear_sound_speed", "pipe.lining.thickness", "medium.sound_speed", "medium.density",
    "medium.dynamic_viscosity", "transducers.frequency", "transducers.wedge_sound_speed", "transducers.wedge_angle",
    "transducers.face_offset", "transducers.wedge_delay", "expected_velocity", "readings.transit_time",
    "readings.time_difference",
]  # fmt: skip


def test_the_limits_cover_every_kind_of_quantity() -> None:
    assert LIMITS.keys() == KINDS.keys()


def with_figure(path: str, figure: str) -> dict[str, Any]:
    """The set-up with the number of one quantity replaced."""
    body = copy.deepcopy(SETUP)
    *outer, name = path.split(".")
    part = body
    for key in outer:
        part = part[key]
    part[name] = f"{figure} {part[name].split(' ', 1)[1]}"
    return body


@pytest.mark.parametrize("path", QUANTITIES)
def test_no_extreme_value_causes_a_server_error(as_user: Any, path: str) -> None:
    owner = as_user("owner")
    for figure in ("0", "-1", "1e-300", "1e300", "-1e300"):
        body = with_figure(path, figure)
        readings = body.pop("readings")
        answers = [
            owner.post("/api/v1/compute/flow/", body | {"readings": readings}, format="json"),
            owner.post("/api/v1/compute/spacing/", body, format="json"),
        ]
        assert {answer.status_code for answer in answers} <= {200, 400}, figure
    too_much = owner.post("/api/v1/compute/flow/", with_figure(path, "1e300"), format="json")
    assert too_much.status_code == 400
    assert (path, "out-of-range") in {(e["field"], e["code"]) for e in too_much.json()["errors"]}


def test_the_set_up_these_tests_bend_is_sound(as_user: Any) -> None:
    answer = as_user("owner").post("/api/v1/compute/flow/", SETUP, format="json")
    assert answer.status_code == 200


@pytest.mark.parametrize(
    "body",
    [
        b'{"\\ud800": 1}',
        b'{"name": "\\udc00\\ud800"}',
        b'{"client": "\\uD800"}',
        b'{"pipe": {"wave_mode": "\\ud800"}}',
    ],
)
def test_half_of_a_surrogate_pair_is_rejected(as_user: Any, body: bytes) -> None:
    answer = as_user("office").post(SITES, data=body, content_type="application/json")
    assert (answer.status_code, answer.json()["code"]) == (400, "json-invalid")


def test_a_complete_surrogate_pair_is_text(as_user: Any, cast: Any) -> None:
    body = b'{"client": "%s", "name": "Works \\ud83d\\udca7"}' % str(cast.client.pk).encode()
    answer = as_user("office").post(SITES, data=body, content_type="application/json")
    assert answer.json()["name"] == "Works \N{DROPLET}"


@pytest.mark.parametrize(
    "header", ["Token \xff\xfe", "Bearer \xff\xfe", "Token", "Bearer ", "Token a b", "Basic eDp5", "Bearer x\0y", "Token " + "a" * 9000]
)  # fmt: skip
def test_an_authorization_that_means_nothing_is_a_401(cast: Any, header: str) -> None:
    answer = APIClient().get(SITES, HTTP_AUTHORIZATION=header)
    assert (answer.status_code, answer["WWW-Authenticate"]) == (401, "Token")


@pytest.mark.parametrize(
    ("path", "query", "code"),
    [
        ("jobs", {"from": "0001-01-01T00:00:00+23:00"}, "out-of-range"),
        ("jobs", {"to": "9999-12-31T23:59:59-23:00"}, "out-of-range"),
        ("sites", {"nmae": "Works"}, "unknown-filter"),
        ("sites", {"name": "\0"}, "null-characters-not-allowed"),
        ("sites", {"ordering": "--name"}, "ordering-unknown"),
        ("sites", {"page_size": "0"}, "out-of-range"),
        ("sites", {"page_size": "9" * 5000}, "out-of-range"),
        ("sites", {"cursor": "bz0xJnA9YWJj"}, "cursor-unknown"),
    ],
)
def test_an_impossible_query_is_rejected(as_user: Any, path: str, query: Any, code: str) -> None:
    answer = as_user("office").get(f"/api/v1/{path}/", query)
    assert (answer.status_code, answer.json()["code"]) == (400, code)


def test_a_body_too_large_is_a_413_with_or_without_a_key(as_user: Any) -> None:
    office, body = as_user("office"), b'{"name": "' + b"x" * 5_000_001 + b'"}'
    for headers in ({}, {"HTTP_IDEMPOTENCY_KEY": "a-key"}):
        answer = office.post(SITES, data=body, content_type="application/json", **headers)
        assert (answer.status_code, answer.json()["code"]) == (413, "body-too-large")
