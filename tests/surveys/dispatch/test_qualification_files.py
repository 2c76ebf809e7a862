"""The certificate of a qualification is kept as it came, once."""

from __future__ import annotations

from datetime import date
from typing import Any

import pytest
from django.db import IntegrityError, transaction

from surveys.models import Document, Qualification
from tests.surveys.fleet.certificates import PDF

pytestmark = pytest.mark.django_db


@pytest.fixture
def held(cast: Any) -> Qualification:
    return Qualification.objects.create(
        technician=cast.technician, slug="confined-space", name="Confined space", issued_on=date(2026, 1, 1)
    )


def address(held: Qualification) -> str:
    return f"/api/v1/technicians/{held.technician_id}/qualifications/{held.pk}/certificate/"


def send(as_user: Any, held: Qualification, content: bytes = PDF, who: str = "office") -> Any:
    return as_user(who).post(f"{address(held)}?name=card.pdf", content, content_type="application/pdf")


def test_it_is_served_as_it_came_and_named_in_the_list(as_user: Any, held: Qualification) -> None:
    sent = send(as_user, held)
    assert sent.status_code == 201
    assert send(as_user, held).status_code == 200
    assert b"".join(as_user("technician").get(address(held)).streaming_content) == PDF
    listed = as_user("office").get(f"/api/v1/technicians/{held.technician_id}/qualifications/").json()[0]
    assert listed["certificate_file"]["sha256"] == sent.json()["sha256"]


def test_another_file_does_not_take_its_place(as_user: Any, held: Qualification) -> None:
    send(as_user, held)
    answer = send(as_user, held, PDF.replace(b"1.7", b"1.6"))
    assert (answer.status_code, answer.json()["code"]) == (409, "certificate-exists")


def test_a_file_that_is_not_a_pdf_is_rejected_and_not_stored(as_user: Any, held: Qualification) -> None:
    answer = send(as_user, held, b"MZ\x90\x00" * 100)
    assert (answer.status_code, answer.json()["errors"][0]["code"]) == (400, "not-a-pdf")
    assert not Document.objects.exists()


@pytest.mark.parametrize(
    ("who", "read", "write"),
    [("office", 404, 201), ("technician", 404, 403), ("owner", 404, 403), ("nobody", 401, 401)],
)
def test_who_reads_and_who_files(as_user: Any, held: Qualification, who: str, read: int, write: int) -> None:
    assert as_user(who).get(address(held)).status_code == read
    assert send(as_user, held, who=who).status_code == write


def test_a_file_belongs_to_one_record(as_user: Any, held: Qualification, kit: Any) -> None:
    send(as_user, held)
    document = Document.objects.get()
    document.pk, document.instrument = None, kit.meter
    with pytest.raises(IntegrityError, match="document_of_one_record"), transaction.atomic():
        document.save(force_insert=True)
