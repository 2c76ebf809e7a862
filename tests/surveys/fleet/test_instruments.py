"""Location and state of instruments with their history; accessories; documents; no deletion."""

from __future__ import annotations

from typing import Any

import pytest
from django.db import IntegrityError, transaction
from django.db.models import ProtectedError

from surveys.models import Document, Instrument, InstrumentState
from tests.surveys.api.test_schema import check, schema  # noqa: F401
from tests.surveys.fleet.certificates import PDF, errors
from tests.surveys.scene import make_scene

pytestmark = pytest.mark.django_db

PATH = "/api/v1/instruments/"


@pytest.fixture
def admin(as_user: Any) -> Any:
    return as_user("calibration_admin")


def states(user: Any, instrument: Instrument, **body: Any) -> Any:
    return user.post(f"{PATH}{instrument.pk}/status-changes/", body, format="json")


def instrument_response(user: Any, serial: str, **also: Any) -> Any:
    body = {"kind": "thermometer", "type_name": "contact thermometer", "serial": serial, **also}
    return user.post(PATH, body, format="json")


def test_the_history_holds_every_state_with_reason_and_location(
    admin: Any, kit: Any, cast: Any, schema: Any  # noqa: F811
) -> None:  # fmt: skip
    first = states(
        admin, kit.meter, state="quarantined", reason="Dropped on site.", location="Store, shelf 4"
    )
    assert first.status_code == 201
    holder = str(cast.technician.pk)
    states(admin, kit.meter, state="in-service", reason="Checked against the reference.", holder=holder)
    answer = admin.get(f"{PATH}{kit.meter.pk}/status-changes/")
    assert [(row["before"], row["state"], row["location"], row["holder"]) for row in answer.json()] == [
        ("quarantined", "in-service", "Store, shelf 4", "technician"),
        ("in-service", "quarantined", "Store, shelf 4", None),
        ("", "in-service", "", None),
    ]
    check(schema, "get", f"{PATH}{{id}}/status-changes/", answer)
    check(schema, "post", f"{PATH}{{id}}/status-changes/", first)
    now = admin.get(f"{PATH}{kit.meter.pk}/").json()
    assert (now["state"], now["location"], now["holder"]) == ("in-service", "Store, shelf 4", "technician")


def test_an_instrument_can_be_returned_without_a_change_of_state(admin: Any, kit: Any, cast: Any) -> None:
    states(admin, kit.meter, reason="For job 12.", holder=str(cast.technician.pk))
    states(admin, kit.meter, reason="Back.", holder=None, location="Store")
    assert admin.get(f"{PATH}{kit.meter.pk}/").json()["holder"] is None


@pytest.mark.parametrize(
    ("body", "expected"),
    [
        ({"state": "quarantined"}, (400, "reason", "required")),
        ({"state": "quarantined", "reason": "  "}, (400, "reason", "blank")),
        ({"state": "lost", "reason": "x"}, (400, "state", "invalid-choice")),
        ({"state": "in-service", "reason": "x"}, (409, "state", "state-unchanged")),
        ({"reason": "x", "holder": "not an id"}, (400, "holder", "invalid")),
    ],
)
def test_a_change_without_reason_or_effect_is_rejected(
    admin: Any, kit: Any, body: Any, expected: Any
) -> None:
    answer = states(admin, kit.meter, **body)
    assert errors(answer)[0][0] == expected[0]
    assert errors(answer)[0][1] == expected[1]
    assert InstrumentState.objects.filter(instrument=kit.meter).count() == 1


def test_a_client_viewer_cannot_hold_an_instrument(admin: Any, kit: Any, cast: Any) -> None:
    answer = states(admin, kit.meter, reason="x", holder=str(cast.owner.pk))
    assert errors(answer) == [(400, "holder", "does-not-exist")]


@pytest.mark.parametrize("body", [{"state": "retired"}, {"location": "x"}, {"holder": None}])
def test_a_direct_change_refers_to_the_states(admin: Any, kit: Any, body: Any) -> None:
    answer = admin.patch(f"{PATH}{kit.meter.pk}/", body, format="json")
    assert errors(answer) == [(400, next(iter(body)), "use-status-changes")]
    assert "status-changes/" in answer.json()["detail"]


def test_states_are_never_changed(admin: Any, kit: Any) -> None:
    with pytest.raises(IntegrityError, match="append-only"), transaction.atomic():
        InstrumentState.objects.update(reason="another")


def test_accessories_belong_to_one_instrument_that_is_none_itself(admin: Any, kit: Any) -> None:
    probe = instrument_response(admin, "T-1", belongs_to=str(kit.meter.pk)).json()
    assert admin.get(f"{PATH}{kit.meter.pk}/").json()["accessories"] == [probe["id"]]
    assert [row["id"] for row in admin.get(PATH, {"belongs_to": str(kit.meter.pk)}).json()["results"]] == [
        probe["id"]
    ]
    assert errors(instrument_response(admin, "T-2", belongs_to=probe["id"])) == [
        (400, "belongs_to", "belongs-to-invalid")
    ]
    for one, other in ((kit.meter.pk, kit.gauge.pk), (kit.gauge.pk, kit.gauge.pk)):
        answer = admin.patch(f"{PATH}{one}/", {"belongs_to": str(other)}, format="json")
        assert errors(answer) == [(400, "belongs_to", "belongs-to-invalid")]
    assert (
        admin.patch(f"{PATH}{probe['id']}/", {"belongs_to": None}, format="json").json()["belongs_to"] is None
    )


def test_documents_are_filed_with_an_instrument_and_given_back(
    admin: Any, as_user: Any, kit: Any, schema: Any  # noqa: F811
) -> None:  # fmt: skip
    path = f"{PATH}{kit.meter.pk}/documents/"
    answers = [
        admin.post(f"{path}?title=data%20sheet&name=a.pdf", PDF, content_type="application/pdf")
        for _ in range(2)
    ]
    assert [answer.status_code for answer in answers] == [201, 200]
    listed = as_user("technician").get(path)
    check(schema, "get", f"{PATH}{{id}}/documents/", listed)
    (row,) = listed.json()
    assert (row["title"], row["file_name"], row["size_bytes"]) == ("data sheet", "a.pdf", len(PDF))
    file = as_user("technician").get(f"{path}{row['id']}/", HTTP_ACCEPT="application/pdf")
    assert b"".join(file.streaming_content) == PDF
    assert errors(admin.post(path, b"MZ" + bytes(2000), content_type="application/pdf")) == [
        (400, "file", "not-a-pdf")
    ]
    assert as_user("owner").get(f"{path}{row['id']}/").status_code == 404
    other = f"{PATH}{kit.gauge.pk}/documents/{row['id']}/"
    assert admin.get(other).status_code == 404
    assert Document.objects.count() == 1


def test_a_correction_of_an_earlier_version_does_not_become_the_version_of_set_ups(
    admin: Any, kit: Any
) -> None:
    address = f"/api/v1/instruments/{kit.pair.pk}/transducer-data/"
    [first] = kit.pair.transducer_data.all()
    stated = {
        "frequency": "1 MHz",
        "wedge_sound_speed": "2720 m/s",
        "wedge_angle": "42 deg",
        "reason": "Refaced.",
    }
    second = admin.post(address, stated | {"wedge_delay": "9.5 us"}).json()
    admin.post(address, stated | {"wedge_delay": "9.7 us", "corrects": str(first.pk)})
    shown = admin.get(f"/api/v1/instruments/{kit.pair.pk}/").json()["transducers"]
    assert shown == second["transducers"]
    admin.post(address, stated | {"wedge_delay": "9.6 us", "corrects": second["id"]})
    shown = admin.get(f"/api/v1/instruments/{kit.pair.pk}/").json()["transducers"]
    assert shown["wedge_delay"]["value"] == pytest.approx(9.6)


def test_inputs_of_a_result_cannot_be_deleted(admin: Any, site: Any, cast: Any, kit: Any) -> None:
    make_scene(site, cast, kit).survey()
    assert admin.delete(f"{PATH}{kit.meter.pk}/").status_code == 405
    assert admin.delete(f"/api/v1/calibrations/{kit.meter.calibrations.get().pk}/").status_code == 405
    instrument_response = kit.meter.calibrations.get()
    for rows in (Instrument.objects.all(), instrument_response, kit.meter.calibrations.all()):
        with pytest.raises(ProtectedError), transaction.atomic():
            rows.delete()


def test_roles_that_may_move_instruments(as_user: Any, kit: Any) -> None:
    body = {"state": "quarantined", "reason": "x"}
    codes = {
        name: states(as_user(name), kit.meter, **body).status_code
        for name in ("technician", "owner", "nobody", "office")
    }
    assert codes == {"technician": 403, "owner": 403, "nobody": 401, "office": 201}
    assert as_user("owner").get(f"{PATH}{kit.meter.pk}/status-changes/").status_code == 404
