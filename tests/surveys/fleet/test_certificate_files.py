"""Certificates as PDF files: stored unchanged, recognised by their first and last bytes."""

from __future__ import annotations

import hashlib
import os
from typing import Any

import pytest
from django.core.files.uploadedfile import SimpleUploadedFile
from django.db import IntegrityError, transaction

from surveys.models import Calibration, Document, DocumentPart
from tests.surveys.api.test_schema import check, schema  # noqa: F401
from tests.surveys.fleet.certificates import PATH, PDF, errors

pytestmark = pytest.mark.django_db


@pytest.fixture
def address(kit: Any) -> str:
    return f"{PATH}{Calibration.objects.get(instrument=kit.gauge).pk}/certificate/"


def sent(user: Any, address: str, content: bytes, name: str = "HR 117.pdf") -> Any:
    return user.post(address, {"file": SimpleUploadedFile(name, content)}, format="multipart")


def test_a_certificate_comes_back_byte_for_byte_as_an_attachment(as_user: Any, address: str) -> None:
    # Beyond one part, and of bytes that do not compress.
    file = PDF[:9] + os.urandom(2_500_000) + PDF[9:]
    created = sent(as_user("calibration_admin"), address, file)
    assert (created.status_code, created.json()["sha256"]) == (201, hashlib.sha256(file).hexdigest())
    answer = as_user("technician").get(address, HTTP_ACCEPT="application/pdf")
    assert b"".join(answer.streaming_content) == file
    assert answer["Content-Type"] == "application/pdf"
    assert answer["Content-Disposition"] == 'attachment; filename="HR_117.pdf"'
    assert answer["X-Content-Type-Options"] == "nosniff"
    assert DocumentPart.objects.count() == 3


def test_the_body_itself_may_be_the_file_and_the_same_file_again_changes_nothing(
    as_user: Any, address: str
) -> None:
    admin = as_user("calibration_admin")
    codes = [
        admin.post(f"{address}?name=a.pdf", PDF, content_type="application/pdf").status_code for _ in range(2)
    ]
    assert codes == [201, 200]
    assert Document.objects.get().file_name == "a.pdf"


def test_another_file_is_a_conflict(as_user: Any, address: str) -> None:
    admin = as_user("calibration_admin")
    sent(admin, address, PDF)
    assert errors(sent(admin, address, PDF + b"%%EOF")) == [(409, "file", "certificate-exists")]


@pytest.mark.parametrize(
    ("content", "code"),
    [
        (b"\x7fELF" + bytes(40_000_000), "not-a-pdf"),
        (b"MZ" + PDF, "not-a-pdf"),
        (b"%PDF-1.7\n" + bytes(2000), "pdf-cut-off"),
        (PDF + bytes(2000), "pdf-cut-off"),
        (b"%PDF-1.7\n" + bytes(10_000_000) + b"%%EOF", "file-too-large"),
    ],
    ids=["40 MB executable", "executable", "cut off", "more after the end", "too large"],
)  # fmt: skip
def test_a_file_that_is_not_a_certificate_is_rejected_and_not_stored(
    as_user: Any, address: str, content: bytes, code: str
) -> None:
    admin = as_user("calibration_admin")
    assert errors(sent(admin, address, content)) == [(400, "file", code)]
    assert errors(admin.post(address, content, content_type="application/pdf")) == [(400, "file", code)]
    assert not Document.objects.exists()
    assert not DocumentPart.objects.exists()


def test_a_form_without_the_file_is_rejected(as_user: Any, address: str) -> None:
    answer = as_user("calibration_admin").post(address, {"note": "x"}, format="multipart")
    assert errors(answer) == [(400, "file", "required")]


def test_who_may_file_and_read_certificates(as_user: Any, address: str) -> None:
    assert as_user("technician").get(address).status_code == 404, "none was filed yet"
    assert sent(as_user("technician"), address, PDF).status_code == 403
    assert sent(as_user("nobody"), address, PDF).status_code == 401
    sent(as_user("calibration_admin"), address, PDF)
    assert as_user("owner").get(address).status_code == 404


def test_the_calibration_names_its_file(as_user: Any, address: str, schema: Any) -> None:  # noqa: F811
    admin = as_user("calibration_admin")
    check(schema, "post", f"{PATH}{{id}}/certificate/", sent(admin, address, PDF, "../../etc/x.pdf"))
    answer = admin.get(address.removesuffix("certificate/")).json()
    assert answer["certificate_file"]["file_name"] == "x.pdf"


def test_a_stored_file_is_never_changed(as_user: Any, address: str) -> None:
    sent(as_user("calibration_admin"), address, PDF)
    for model in (Document, DocumentPart):
        change = {"sha256": "0"} if model is Document else {"content": b"x"}
        with pytest.raises(IntegrityError, match="append-only"), transaction.atomic():
            model.objects.update(**change)
