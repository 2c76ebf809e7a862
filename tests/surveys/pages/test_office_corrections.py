"""Form of the office for pipe data: invalid values are reported in their field, and nothing is stored."""

from __future__ import annotations

from typing import Any

import pytest
from django.test import Client as Visitor

from surveys.models import Instrument, InstrumentType, PipeData, TransducerData
from tests.surveys.scene import Scene

pytestmark = pytest.mark.django_db


@pytest.fixture
def office(cast: Any) -> Visitor:
    client = Visitor()
    client.force_login(cast.office)
    return client


def test_a_version_there_is_not_is_not_found(office: Visitor, scene: Scene, site: Any) -> None:
    address = f"/office/pipes/{scene.pipe.pk}/correction/"
    for named in ("x", str(scene.point.pk)):
        assert office.get(address, {"version": named}).status_code == 404
        assert office.post(address, {"corrects": named, "reason": "x"}).status_code == 404


@pytest.mark.parametrize(
    ("name", "typed", "detail"),
    [
        ("pipe.outer_diameter", "219.1", "unit"),
        ("pipe.wall_thickness", "120 mm", "bore"),
        ("pipe.material", "cheese", "cheese"),
        ("pipe.material", "*", "longitudinal"),
        ("pipe.lining", "epoxy", "Lining thickness"),
        ("pipe.roughness", "-1 mm", "Roughness"),
        ("pipe.wave_mode", "sideways", "sideways"),
        ("pipe.max_outer_diameter", "221 mm", "must be entered together"),
        ("pipe.min_outer_diameter", "218 mm", "must be entered together"),
        ("medium.name", "seawater", "salinity"),
        ("medium.name", "*", "sound_speed"),
        ("medium.temperature", "", "temperature"),
        ("medium.pressure", "1 barrel", "Medium pressure"),
        ("medium.temperature_source", "guessed", "guessed"),
        ("valid_from", "yesterday", "Valid from"),
        ("reason", "x" * 2001, "2000"),
        ("reason", "\u202e", "U+202E"),
    ],
)
def test_an_invalid_value_is_reported_and_kept_in_its_field(
    office: Visitor, scene: Scene, name: str, typed: str, detail: str
) -> None:
    sent = {"reason": "Gauged.", "pipe.wall_thickness": "7.9 mm", name: typed}
    answer = office.post(f"/office/pipes/{scene.pipe.pk}/correction/", sent)
    page = answer.content.decode()
    assert answer.status_code == 400
    assert detail in page.partition('id="sheet-answer"')[2]
    assert 'aria-invalid="true"' in page
    assert PipeData.objects.count() == 1


def test_a_nul_anywhere_in_a_form_is_rejected_before_it_is_read(office: Visitor, scene: Scene) -> None:
    address = f"/office/pipes/{scene.pipe.pk}/correction/"
    assert office.get(address, {"version": "\x00"}).status_code == 400
    assert office.post(address, {"reason": "Gauged.", "medium.pressure": "1 bar\x00"}).status_code == 400
    assert PipeData.objects.count() == 1


def test_an_out_of_round_pipe_keeps_its_largest_diameter(office: Visitor, scene: Scene) -> None:
    sent = {
        "reason": "Taped.",
        "pipe.max_outer_diameter": "218 mm",
        "pipe.min_outer_diameter": "220 mm",
    }
    answer = office.post(f"/office/pipes/{scene.pipe.pk}/correction/", sent)
    assert answer.status_code == 400
    assert 'id="pipe-max_outer_diameter-wrong"' in answer.content.decode()


@pytest.mark.parametrize("typed", ["nan", "inf", "thirty", "1e999", "2"])
def test_a_fraction_that_is_not_a_number_from_0_to_1_is_rejected(
    office: Visitor, scene: Scene, typed: str
) -> None:
    sent = {"reason": "x", "medium.name": "ethylene-glycol-water", "medium.mass_fraction": typed}
    answer = office.post(f"/office/pipes/{scene.pipe.pk}/correction/", sent)
    assert answer.status_code == 400
    assert 'id="medium-mass_fraction-wrong"' in answer.content.decode()


def test_a_certificate_to_correct_that_is_not_of_the_instrument_is_not_found(cast: Any, kit: Any) -> None:
    admin = Visitor()
    admin.force_login(cast.calibration_admin)
    others = kit.pair.calibrations.first()
    address = f"/fleet/instruments/{kit.meter.pk}/certificate/"
    for named in ("x", str(others.pk)):
        assert admin.get(address, {"corrects": named}).status_code == 404


LINED = {"pipe.lining": "cement-mortar", "pipe.lining.thickness": "4 mm", "pipe.further_linings.rows": "2"}


@pytest.mark.parametrize(
    ("typed", "wrong"),
    [
        ({"0.material": "epoxy"}, "0-thickness"),
        ({"0.material": "epoxy", "0.thickness": "0.5"}, "0-thickness"),
        ({"0.material": "cheese", "0.thickness": "0.5 mm"}, "0-material"),
        ({"0.material": "*", "0.thickness": "0.5 mm"}, "0-material-longitudinal_sound_speed"),
        # An empty row is not sent: an error of the next row is shown at that row.
        ({"0.material": "", "1.material": "epoxy", "1.thickness": "x"}, "1-thickness"),
    ],
)
def test_an_invalid_value_of_a_further_lining_is_reported_in_its_row(
    office: Visitor, scene: Scene, typed: dict[str, str], wrong: str
) -> None:
    sent = (
        LINED
        | {f"pipe.further_linings.{name}": text for name, text in typed.items()}
        | {"reason": "Cut open."}
    )
    answer = office.post(f"/office/pipes/{scene.pipe.pk}/correction/", sent)
    assert answer.status_code == 400
    assert f'id="pipe-further_linings-{wrong}-wrong"' in answer.content.decode()
    assert PipeData.objects.count() == 1


def test_a_further_lining_without_a_first_is_reported_at_the_first(office: Visitor, scene: Scene) -> None:
    inner = {"pipe.further_linings.rows": "1", "pipe.further_linings.0.material": "epoxy"}
    sent = inner | {"pipe.further_linings.0.thickness": "0.5 mm", "reason": "Cut open."}
    page = office.post(f"/office/pipes/{scene.pipe.pk}/correction/", sent).content.decode()
    assert 'id="pipe-lining-wrong"' in page
    assert "outermost lining first" in page


def test_a_lining_is_added_without_a_script_up_to_five(office: Visitor, scene: Scene) -> None:
    address = f"/office/pipes/{scene.pipe.pk}/correction/"
    typed = LINED | {"pipe.further_linings.rows": "4", "pipe.outer_diameter": "300 mm", "do": "more-linings"}
    page = office.post(address, typed).content.decode()
    assert 'id="pipe-further_linings-4-material"' in page
    assert 'value="300 mm"' in page
    # Beyond five there is no row to ask for, whatever is sent.
    assert "more-linings" not in page
    for odd in ("99", "-1", "x", "\u0665"):
        assert office.post(address, typed | {"pipe.further_linings.rows": odd}).status_code == 200


@pytest.fixture
def address_of_pair(kit: Any) -> str:
    return f"/office/transducers/{kit.pair.pk}/correction/"


@pytest.mark.parametrize(
    ("name", "typed", "detail"),
    [
        ("frequency", "2", "unit"),
        ("frequency", "", "required"),
        ("wedge_sound_speed", "2 m/s", "Wedge sound speed"),
        ("wedge_angle", "95 deg", "angle"),
        ("face_offset", "-1 mm", "of at least 0"),
        ("wedge_delay", "-1 us", "wedge"),
        ("min_temperature", "300 degC", "is not below the maximum"),
        ("wedge_temperature_coefficient", "1 barrel", "Temperature coefficient of the wedge"),
        ("reason", "", "must not be empty"),
        ("reason", "\u202e", "U+202E"),
    ],
)
def test_an_invalid_value_of_a_pair_is_reported_and_kept_in_its_field(
    office: Visitor, address_of_pair: str, name: str, typed: str, detail: str
) -> None:
    sent = {"reason": "Data sheet.", "wedge_angle": "43 deg", name: typed}
    answer = office.post(address_of_pair, sent)
    page = answer.content.decode()
    assert answer.status_code in (400, 409)
    assert detail in page.partition('id="sheet-answer"')[2]
    assert 'aria-invalid="true"' in page
    assert TransducerData.objects.count() == 1


def test_the_form_of_a_pair_works_without_a_script(office: Visitor, address_of_pair: str) -> None:
    typed = {"wedge_angle": "43 deg", "reason": "Data sheet.", "do": "show"}
    shown = office.post(address_of_pair, typed).content.decode()
    seen = shown.partition('name="seen" value="')[2].partition('"')[0]
    answer = office.post(address_of_pair, typed | {"do": "commit", "seen": seen})
    assert answer.status_code == 302
    assert office.get(answer["Location"]).status_code == 200
    assert office.post(address_of_pair, {"reason": "Nothing to say."}).status_code == 400


def test_unchanged_values_of_a_pair_keep_every_digit(office: Visitor, address_of_pair: str, kit: Any) -> None:
    [first] = kit.pair.transducer_data.all()
    # Never typed in the kit: shown rounded, in the reader's units.
    assert "min_temperature" not in first.as_entered
    typed = {"wedge_angle": "43 deg", "reason": "Data sheet.", "units": "us", "do": "show"}
    seen = office.post(address_of_pair, typed).content.decode().partition('name="seen" value="')[2]
    office.post(address_of_pair, typed | {"do": "commit", "seen": seen.partition('"')[0]})
    records = TransducerData.objects.get(corrects=first)
    assert records.min_temperature_k == first.min_temperature_k
    # What nobody typed is not kept as if somebody had.
    assert records.as_entered == first.as_entered | {"wedge_angle": "43 deg"}
    assert records.wedge_sound_speed_m_s == first.wedge_sound_speed_m_s


def test_another_instrument_or_version_has_no_such_page(
    office: Visitor, address_of_pair: str, kit: Any
) -> None:
    bare = Instrument.objects.create(kind="transducer-pair", type_name="Old", serial="P-9")
    for other in (kit.meter, bare):
        assert office.get(f"/office/transducers/{other.pk}/correction/").status_code == 404
    for named in ("x", str(kit.meter.pk)):
        assert office.get(address_of_pair, {"version": named}).status_code == 404
        assert office.post(address_of_pair, {"corrects": named, "reason": "x"}).status_code == 404


@pytest.mark.parametrize(
    ("name", "typed", "detail"),
    [
        ("min_velocity", "3", "unit"),
        ("min_velocity", "30 m/s", "min_velocity"),
        ("note", "\u202e", "U+202E"),
        ("min_wall_thickness", "", "All fields have their recorded values"),
    ],
)
def test_an_invalid_value_of_a_type_is_reported_and_not_stored(
    office: Visitor, name: str, typed: str, detail: str
) -> None:
    records = InstrumentType.objects.create(kind="meter", name="Portable", max_velocity_m_s=20)
    answer = office.post(f"/office/instrument-types/{records.pk}/", {name: typed, "do": "show"})
    assert answer.status_code in (400, 409)
    assert detail in answer.content.decode().partition('id="sheet-answer"')[2]
    records.refresh_from_db()
    assert (records.min_velocity_m_s, records.note) == (None, "")


def test_an_emptied_value_of_a_type_is_unknown(office: Visitor) -> None:
    records = InstrumentType.objects.create(
        kind="meter", name="Portable", max_velocity_m_s=20, as_entered={"max_velocity": "20 m/s"}
    )
    address, typed = f"/office/instrument-types/{records.pk}/", {"max_velocity": "", "do": "show"}
    seen = office.post(address, typed).content.decode().partition('name="seen" value="')[2].partition('"')[0]
    assert office.post(address, typed | {"do": "commit", "seen": seen}).status_code == 302
    records.refresh_from_db()
    assert (records.max_velocity_m_s, records.as_entered) == (None, {})
