"""Certificates from a table: a dry run lists the errors row by row; the import is complete or nothing is stored."""

from __future__ import annotations

import io
import json
import zipfile
from typing import Any

import openpyxl
import pytest

from surveys.inputs.tables import table_read
from surveys.models import Calibration, CalibrationPoint
from tests.surveys.api.test_schema import check, schema  # noqa: F401
from tests.surveys.fleet.certificates import LIMIT, errors

pytestmark = pytest.mark.django_db

BULK = "/api/v1/calibrations/bulk/"
HEAD = ["serial", "certificate", "laboratory", "calibrated_on", "due_on", "as_found"]
GOOD = [
    "G-0033",
    "B-1",
    "Harbour Row Calibration",
    "2026-09-01",
    "2027-09-01",
    "5 mm|5.01 mm|0.02 mm|2; 20 mm|20.02 mm|0.02 mm|2",
]
METER = ["M-0412", "B-2", "Harbour Row Calibration", "2026-09-01", "2027-09-01", ""]


def as_csv(*rows: list[str]) -> bytes:
    return "\r\n".join(",".join(row) for row in rows).encode()


def as_xlsx(*rows: list[Any]) -> bytes:
    book, out = openpyxl.Workbook(), io.BytesIO()
    for row in rows:
        book.active.append(row)
    book.save(out)
    return out.getvalue()


@pytest.fixture
def send(as_user: Any, kit: Any) -> Any:
    def sent(content: bytes, query: str = "", who: str = "calibration_admin") -> Any:
        return as_user(who).post(BULK + query, content, content_type="application/octet-stream")

    return sent


@pytest.mark.parametrize("form", [as_csv, as_xlsx])
def test_a_table_of_certificates_is_recorded_with_its_points(send: Any, form: Any, schema: Any) -> None:  # noqa: F811
    answer = send(form(HEAD, GOOD, METER))
    assert (answer.status_code, answer.json()["recorded"]) == (201, 2)
    check(schema, "post", BULK, answer)
    created = Calibration.objects.get(certificate="B-1")
    assert [row.indicated_si for row in created.points.all()] == pytest.approx([0.00501, 0.02002])


def test_dates_and_numbers_of_a_spreadsheet_are_read_as_such(send: Any) -> None:
    from datetime import datetime

    row = ["G-0033", 117, "Harbour Row Calibration", datetime(2026, 9, 1), datetime(2027, 9, 1)]
    assert send(as_xlsx(HEAD[:5], row)).status_code == 201
    assert Calibration.objects.filter(certificate="117", due_on="2027-09-01").exists()


def test_a_dry_run_records_nothing_and_names_every_wrong_row(send: Any, schema: Any) -> None:  # noqa: F811
    before = Calibration.objects.count()
    late = [*GOOD[:4], "2026-08-01", ""]
    rows = [
        GOOD,
        late,
        GOOD,
        ["X-1", *METER[1:]],
        [*METER[:5], "5 m/s|5 m/s"],
        [*METER[:5], "5 mm|5 m/s|0.1 m/s|2"],
    ]
    answer = send(as_csv(HEAD, *rows), "?dry_run=true")
    assert answer.status_code == 200
    check(schema, "post", BULK, answer)
    assert [(one["field"], one["code"]) for one in answer.json()["errors"]] == [
        ("rows.3.due_on", "due-too-early"),
        ("rows.4.certificate", "conflict"),
        ("rows.5.serial", "serial-unknown"),
        ("rows.6.as_found", "point-invalid"),
        ("rows.7.as_found.0.reference", "unit-unknown"),
    ]
    assert (answer.json()["rows"], answer.json()["recorded"]) == (6, 0)
    assert (Calibration.objects.count(), CalibrationPoint.objects.count()) == (before, 0)
    assert send(as_csv(HEAD, GOOD), "?dry_run=1").json()["errors"] == []
    assert Calibration.objects.count() == before


def test_in_earnest_one_wrong_row_stops_all(send: Any) -> None:
    before = Calibration.objects.count()
    answer = send(as_csv(HEAD, GOOD, [*METER[:4], "2026-08-01", ""]))
    assert errors(answer) == [(400, "rows.3.due_on", "due-too-early")]
    assert Calibration.objects.count() == before


def test_policies_apply_to_empty_limits_of_a_table(send: Any, as_user: Any) -> None:
    body = LIMIT | {"kind": "thickness-gauge"}
    as_user("calibration_admin").post("/api/v1/acceptance-policies/", body, format="json")
    send(as_csv(HEAD, GOOD))
    created = Calibration.objects.get(certificate="B-1")
    assert (created.decision_rule, created.limits_from) == ("simple-acceptance", "type")


def bomb() -> bytes:
    out = io.BytesIO()
    with zipfile.ZipFile(out, "w", zipfile.ZIP_DEFLATED) as parts:
        parts.writestr("xl/worksheets/sheet1.xml", bytes(60_000_000))
    return out.getvalue()


def with_entity() -> bytes:
    """A workbook whose sheet declares an entity, as an attack by expansion would."""
    out = io.BytesIO()
    with zipfile.ZipFile(io.BytesIO(as_xlsx(HEAD, GOOD))) as sound, zipfile.ZipFile(out, "w") as parts:
        for name in sound.namelist():
            content = sound.read(name)
            if name.endswith("sheet1.xml"):
                content = b'<!DOCTYPE x [<!ENTITY a "aaaa">]>' + content
            parts.writestr(name, content)
    return out.getvalue()


@pytest.mark.parametrize(
    ("content", "code"),
    [
        (b"serial,certificate\n" + b"G-0033,x\n" * 2001, "too-many-rows"),
        (b"serial," + b"x" * 5_000_001, "file-too-large"),
        (bomb(), "file-too-large"),
        (with_entity(), "xlsx-invalid"),
        (b"PK\x03\x04" + bytes(200), "xlsx-invalid"),
        (as_xlsx(HEAD, GOOD)[:2000], "xlsx-invalid"),
        (b"\xff\xfe\x00", "file-not-text"),
        (b"%PDF-1.7\n\0", "file-not-text"),
        (b'serial,certificate\n"G', "csv-invalid"),
        (b"serial,conformity\nG-0033,pass\n", "columns-unknown"),
        (b"serial,serial\nG-0033,x\n", "duplicate-column"),
        (b"serial,certificate\nG-0033,x,y\n", "row-too-long"),
        (b"serial,certificate\n", "no-rows"),
        (b"\n\n", "columns-unknown"),
    ],
)
def test_a_file_that_is_not_such_a_table_is_rejected(send: Any, content: bytes, code: str) -> None:
    assert errors(send(content)) == [(400, "file", code)]


def test_a_formula_of_a_spreadsheet_is_never_computed() -> None:
    (row,) = table_read(
        io.BytesIO(as_xlsx(["serial", "note"], ["G-0033", '=HYPERLINK("x")'])), ["serial", "note"]
    )
    assert row.cells == {"serial": "G-0033"}, "its last computed value: there is none"


def test_a_flag_is_true_or_false_and_only_calibration_admins_send_tables(send: Any) -> None:
    assert errors(send(as_csv(HEAD, GOOD), "?dry_run=maybe")) == [(400, "dry_run", "invalid")]
    assert {who: send(b"", who=who).status_code for who in ("technician", "office", "owner", "nobody")} == {
        "technician": 403, "office": 403, "owner": 403, "nobody": 401,
    }  # fmt: skip


KEY = {"HTTP_IDEMPOTENCY_KEY": "a-table"}


def test_a_table_sent_again_with_its_key_gets_the_first_answer_and_is_recorded_once(
    as_user: Any, kit: Any
) -> None:
    admin = as_user("calibration_admin")
    for sent in range(2):
        answer = admin.post(BULK, as_csv(HEAD, GOOD), content_type="text/csv", **KEY)
        assert (answer.status_code, json.loads(answer.content)["recorded"]) == (201, 1)
        assert answer.has_header("Idempotency-Replayed") == bool(sent)
    assert Calibration.objects.filter(certificate="B-1").count() == 1
    other = admin.post(BULK, as_csv(HEAD, METER), content_type="text/csv", **KEY)
    assert (other.status_code, other.json()["code"]) == (422, "idempotency-key-reused")


def test_as_the_part_of_a_form_it_is_the_same_table_whatever_line_is_drawn_around_it(
    as_user: Any, kit: Any
) -> None:
    admin = as_user("calibration_admin")

    def sent(content: bytes, boundary: str) -> Any:
        part = b'Content-Disposition: form-data; name="file"; filename="a.csv"\r\n\r\n' + content
        line = b"--" + boundary.encode()
        body = line + b"\r\n" + part + b"\r\n" + line + b"--\r\n"
        return admin.post(BULK, body, content_type=f"multipart/form-data; boundary={boundary}", **KEY)

    assert sent(as_csv(HEAD, GOOD), "first").status_code == 201
    assert sent(as_csv(HEAD, GOOD), "second")["Idempotency-Replayed"] == "true"
    assert sent(as_csv(HEAD, METER), "third").status_code == 422
    assert Calibration.objects.filter(certificate="B-1").count() == 1


def test_the_errors_are_returned_again_for_the_same_key_and_nothing_is_partly_done(
    as_user: Any, kit: Any
) -> None:
    admin, before = as_user("calibration_admin"), Calibration.objects.count()
    table = as_csv(HEAD, GOOD, [*METER[:4], "2026-08-01", ""])
    answers = [admin.post(BULK, table, content_type="text/csv", **KEY) for _ in range(2)]
    assert [answer.status_code for answer in answers] == [400, 400]
    assert answers[1]["Idempotency-Replayed"] == "true"
    assert answers[0].content == answers[1].content
    assert Calibration.objects.count() == before


def test_a_table_too_large_for_comparison_is_rejected_before_its_key_is_stored(
    as_user: Any, kit: Any
) -> None:
    admin = as_user("calibration_admin")
    large = b"serial," + b"x" * 5_000_001
    assert admin.post(BULK, large, content_type="text/csv", **KEY).status_code == 413
    assert admin.post(BULK, as_csv(HEAD, GOOD), content_type="text/csv", **KEY).status_code == 201
