"""Labels: the same record gives the same bytes, and no text of a record is taken for markup."""

from __future__ import annotations

import re
from datetime import UTC, date, datetime
from typing import Any

import pytest

from surveys.documents.instrument_label import label_pdf
from surveys.models import Calibration, Instrument

POINTS_A_MM = 72 / 25.4


def label(**also: Any) -> bytes:
    one = Instrument(
        kind="meter", **{"type_name": "field meter", "serial": "M-0412", "asset_number": "AHC 20-117"} | also
    )
    created = Calibration(
        instrument=one, certificate="C", laboratory="L", calibrated_on=date(2026, 3, 16), due_on=date(2027, 3, 16),
        recorded_at=datetime(2026, 3, 20, tzinfo=UTC),
    )  # fmt: skip
    return label_pdf(one, created, "https://surveys.aldervale.example/api/v1/instruments/1/")


def test_the_same_record_gives_the_same_bytes_and_another_others() -> None:
    assert label() == label()
    assert label() != label(serial="M-0413")
    assert label().startswith(b"%PDF-1.")


@pytest.mark.parametrize(
    "serial", ["#panic()", '"); #panic(', "$M$ *x* _y_ @z <w>", "\\", "9" * 60, "Ø-\N{SNOWMAN}", "]#eval("]
)
def test_hostile_and_long_text_is_printed_as_text(serial: str) -> None:
    created = label(serial=serial, type_name=serial, asset_number=serial)
    assert created.count(b"/Type /Page\n") + created.count(b"/Type/Page\n") <= 1
    assert created.startswith(b"%PDF-1.")


def test_a_label_meets_the_standards_of_documents(caplog: Any) -> None:
    assert b"pdfuaid" in label()
    assert not caplog.records


@pytest.mark.django_db
def test_who_may_print_a_label(as_user: Any, kit: Any) -> None:
    path = f"/api/v1/instruments/{kit.meter.pk}/label.pdf"
    answer = as_user("technician").get(path, HTTP_ACCEPT="application/pdf")
    assert (answer.status_code, answer["Content-Type"]) == (200, "application/pdf")
    assert answer.content == as_user("office").get(path).content
    assert as_user("owner").get(path).status_code == 404
    assert as_user("nobody").get(path).status_code == 401


@pytest.mark.django_db
def test_the_label_of_an_instrument_without_calibration_states_so(as_user: Any, db: Any) -> None:
    one = Instrument.objects.create(kind="thermometer", type_name="contact", serial="T-1")
    assert as_user("office").get(f"/api/v1/instruments/{one.pk}/label.pdf").status_code == 200


def test_a_label_has_the_size_of_the_setting(settings: Any) -> None:
    settings.LABEL_WIDTH_MM, settings.LABEL_HEIGHT_MM = 100, 50
    (box,) = re.findall(rb"/MediaBox ?\[0 0 ([\d.]+) ([\d.]+)\]", label())
    assert [float(side) for side in box] == pytest.approx([100 * POINTS_A_MM, 50 * POINTS_A_MM], abs=0.01)
