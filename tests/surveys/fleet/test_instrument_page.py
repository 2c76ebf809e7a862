"""Page of an instrument, the target of its label: content and access."""

from __future__ import annotations

import html
from datetime import timedelta
from typing import Any

import pytest
from django.test import Client as Visitor
from django.utils import timezone

from surveys.calibration.due_list import office_today
from surveys.documents.instrument_label import label_pdf
from surveys.models import Calibration, Instrument
from surveys.models.instrument import Kind, State
from surveys.services.fleet.instruments import InstrumentLocation, instrument_state_change

pytestmark = pytest.mark.django_db

DO_NOT = "Do not use the instrument"


def page(user: Any, instrument: Instrument) -> Any:
    visitor = Visitor()
    if user is not None:
        visitor.force_login(user)
    return visitor.get(f"/instruments/{instrument.pk}/")


def page_of(cast: Any, instrument: Instrument) -> str:
    return html.unescape(page(cast.technician, instrument).content.decode())


def test_a_label_leads_to_the_page_of_its_instrument(client: Any, cast: Any, kit: Any) -> None:
    client.force_login(cast.technician)
    created = client.get(f"/api/v1/instruments/{kit.meter.pk}/label.pdf").content
    address = f"http://testserver/instruments/{kit.meter.pk}/"
    assert created == label_pdf(kit.meter, kit.meter.calibrations.get(), address)


def test_staff_see_it_who_looks_after_the_fleet_goes_on_to_its_page_and_clients_find_nothing(
    cast: Any, kit: Any
) -> None:
    who = ("technician", "office", "calibration_admin", "administrator", "owner", "stranger")
    answers = {name: page(getattr(cast, name), kit.meter) for name in who}
    assert {name: found.status_code for name, found in answers.items()} == {
        "technician": 200, "office": 200, "calibration_admin": 302, "administrator": 302, "owner": 404, "stranger": 404,
    }  # fmt: skip
    assert answers["administrator"]["Location"] == f"/fleet/instruments/{kit.meter.pk}/"
    assert page(None, kit.meter)["Location"] == f"/sign-in/?next=/instruments/{kit.meter.pk}/"


def test_an_instrument_in_calibration_shows_its_due_date_and_certificate(cast: Any, kit: Any) -> None:
    created = kit.meter.calibrations.get()
    page = page_of(cast, kit.meter)
    for text in (
        kit.meter.serial,
        f"{created.due_on}",
        "left",
        created.certificate,
        "In service and in calibration.",
    ):
        assert text in page, text
    assert DO_NOT not in page


@pytest.mark.parametrize(
    ("days_left", "says", "usable"),
    [(-1, "1 day overdue", False), (0, "last day today", True), (1, "1 day left", True)],
)
def test_the_due_date_is_the_last_day_it_may_be_used(
    cast: Any, days_left: int, says: str, usable: bool
) -> None:
    one = Instrument.objects.create(kind=Kind.THERMOMETER, type_name="contact", serial="T-1")
    due_on = office_today(timezone.now()) + timedelta(days=days_left)
    Calibration.objects.create(
        instrument=one, certificate="C-1", laboratory="L", calibrated_on=due_on - timedelta(days=365), due_on=due_on,
        recorded_at=timezone.now(), recorded_by=cast.calibration_admin,
    )  # fmt: skip
    page = page_of(cast, one)
    assert says in page
    assert (DO_NOT not in page) is usable
    assert ("Not in calibration." in page) is not usable


def test_a_quarantined_instrument_shows_date_and_reason(cast: Any, kit: Any) -> None:
    instrument_state_change(
        instrument=kit.meter, to=InstrumentLocation(State.QUARANTINED, "Shelf 3", None), reason="Dropped.",
        by=cast.calibration_admin, now=timezone.now(),
    )  # fmt: skip
    page = page_of(cast, kit.meter)
    for text in ("Not in service: quarantined.", DO_NOT, f"{timezone.now().date()}: Dropped.", "Shelf 3"):
        assert text in page, text


def test_the_reason_of_a_check_out_of_limits_is_shown_in_the_units_of_the_reader(
    as_user: Any, cast: Any, kit: Any
) -> None:
    body = {
        "performed_at": "2026-10-05T08:00:00Z",
        "kind": "step-block",
        "limits": {"warning": "0.05 mm", "action": "0.1 mm"},
        "steps": [{"certified": "10 mm", "standard_uncertainty": "0.001 mm", "readings": ["10.15 mm"]}],
        "resolution": "0.01 mm",
    }
    address = f"/api/v1/instruments/{kit.gauge.pk}/intermediate-checks/"
    assert as_user("technician").post(address, body).json()["instrument_state"] == "quarantined"
    visitor = Visitor()
    visitor.force_login(cast.technician)
    for units, inside, outside in (
        ("metric", "mm", "\N{NO-BREAK SPACE}in"),
        ("us", "\N{NO-BREAK SPACE}in", "mm"),
    ):
        page = html.unescape(visitor.get(f"/instruments/{kit.gauge.pk}/", {"units": units}).content.decode())
        [line] = [one for one in page.splitlines() if "The check of 2026-10-05 is out of limits." in one]
        reason = line[line.index("The check of") :]
        assert inside in reason
        assert outside not in reason


@pytest.mark.parametrize(("kind", "usable"), [(Kind.TRANSDUCER_PAIR, True), (Kind.THICKNESS_GAUGE, False)])
def test_a_pair_needs_no_certificate_and_a_thickness_gauge_does(cast: Any, kind: str, usable: bool) -> None:
    page = page_of(cast, Instrument.objects.create(kind=kind, type_name="usual", serial="N-1"))
    assert (DO_NOT not in page) is usable
    assert ("checked together with its meter" in page) is usable
    assert "No calibration certificate" in page
