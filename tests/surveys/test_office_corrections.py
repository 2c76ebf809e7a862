"""The office's form of a pipe's data: what cannot be is told at its field, and nothing is kept of it."""

from __future__ import annotations

from typing import Any

import pytest
from django.test import Client as Visitor

from surveys.models import PipeData
from tests.surveys.scene import Scene, scene

pytestmark = pytest.mark.django_db


@pytest.fixture
def here(site: Any, cast: Any, kit: Any) -> Scene:
    return scene(site, cast, kit)


@pytest.fixture
def office(cast: Any) -> Visitor:
    client = Visitor()
    client.force_login(cast.office)
    return client


def test_a_version_there_is_not_is_not_found(office: Visitor, here: Scene, site: Any) -> None:
    address = f"/office/pipes/{here.pipe.pk}/correction/"
    for named in ("x", str(here.point.pk)):
        assert office.get(address, {"version": named}).status_code == 404
        assert office.post(address, {"corrects": named, "reason": "x"}).status_code == 404


@pytest.mark.parametrize(
    ("name", "typed", "told"),
    [
        ("pipe.outer_diameter", "219.1", "unit"),
        ("pipe.wall_thickness", "120 mm", "bore"),
        ("pipe.material", "cheese", "cheese"),
        ("pipe.material", "*", "longitudinal"),
        ("pipe.lining", "epoxy", "Thickness"),
        ("pipe.roughness", "-1 mm", "Roughness"),
        ("pipe.wave_mode", "sideways", "sideways"),
        ("pipe.largest_outer_diameter", "221 mm", "smallest"),
        ("pipe.smallest_outer_diameter", "218 mm", "smallest"),
        ("medium.name", "seawater", "salinity"),
        ("medium.name", "*", "sound_speed"),
        ("medium.temperature", "", "temperature"),
        ("medium.pressure", "1 barrel", "Pressure"),
        ("medium.temperature_known", "guessed", "guessed"),
        ("holds_from", "yesterday", "Holds from"),
        ("reason", "x" * 2001, "2000"),
        ("reason", "\u202e", "U+202E"),
    ],
)
def test_what_cannot_be_is_told_and_kept_in_its_field(
    office: Visitor, here: Scene, name: str, typed: str, told: str
) -> None:
    sent = {"reason": "Gauged.", "pipe.wall_thickness": "7.9 mm", name: typed}
    answer = office.post(f"/office/pipes/{here.pipe.pk}/correction/", sent)
    page = answer.content.decode()
    assert answer.status_code == 400
    assert told in page.partition('id="told"')[2]
    assert 'aria-invalid="true"' in page
    assert PipeData.objects.count() == 1


def test_a_nul_anywhere_in_a_form_is_refused_before_it_is_read(office: Visitor, here: Scene) -> None:
    address = f"/office/pipes/{here.pipe.pk}/correction/"
    assert office.get(address, {"version": "\x00"}).status_code == 400
    assert office.post(address, {"reason": "Gauged.", "medium.pressure": "1 bar\x00"}).status_code == 400
    assert PipeData.objects.count() == 1


def test_an_oval_pipe_is_largest_where_it_says_so(office: Visitor, here: Scene) -> None:
    sent = {
        "reason": "Taped.",
        "pipe.largest_outer_diameter": "218 mm",
        "pipe.smallest_outer_diameter": "220 mm",
    }
    answer = office.post(f"/office/pipes/{here.pipe.pk}/correction/", sent)
    assert answer.status_code == 400
    assert 'id="pipe-largest_outer_diameter-wrong"' in answer.content.decode()


@pytest.mark.parametrize("typed", ["nan", "inf", "thirty", "1e999", "2"])
def test_a_share_that_is_no_number_from_0_to_1_is_refused(office: Visitor, here: Scene, typed: str) -> None:
    sent = {"reason": "x", "medium.name": "ethylene-glycol-water", "medium.mass_fraction": typed}
    answer = office.post(f"/office/pipes/{here.pipe.pk}/correction/", sent)
    assert answer.status_code == 400
    assert 'id="medium-mass_fraction-wrong"' in answer.content.decode()


def test_a_certificate_to_correct_that_is_not_of_the_instrument_is_not_found(cast: Any, kit: Any) -> None:
    admin = Visitor()
    admin.force_login(cast.calibration_admin)
    others = kit.pair.calibrations.first()
    address = f"/fleet/instruments/{kit.meter.pk}/certificate/"
    for named in ("x", str(others.pk)):
        assert admin.get(address, {"corrects": named}).status_code == 404
