"""Hostile files at every address for uploads: rejected with a code, not stored, under any name."""

from __future__ import annotations

import gzip
import io
import zipfile
from typing import Any

import pyarrow as pa
import pyarrow.parquet as pq
import pytest
from django.core.files.uploadedfile import SimpleUploadedFile

from surveys.models import Document, Log
from tests.surveys.people.all_records import Everything

pytestmark = pytest.mark.django_db


def zipped(inner: bytes, name: str = "a.csv") -> bytes:
    out = io.BytesIO()
    with zipfile.ZipFile(out, "w", zipfile.ZIP_DEFLATED) as parts:
        parts.writestr(name, inner)
    return out.getvalue()


def parquet(table: pa.Table) -> bytes:
    out = io.BytesIO()
    pq.write_table(table, out, compression="zstd")
    return out.getvalue()


HTML = b"<!DOCTYPE html><script>alert(document.cookie)</script>"
SVG = b'<svg xmlns="http://www.w3.org/2000/svg" onload="alert(1)"/>'
EXPANDING = b'<!DOCTYPE x [<!ENTITY a "aaaaaaaaaa"><!ENTITY b "&a;&a;&a;&a;">]><x>&b;</x>'
FILES = {
    "empty": b"",
    "one NUL byte": b"\0",
    "NUL bytes": bytes(100_000),
    "a zip bomb": zipped(bytes(60_000_000)),
    "zips in a zip": zipped(zipped(zipped(bytes(1_000_000)))),
    "a path out of a zip": zipped(b"x", "../../../../tmp/x"),
    "a gzip bomb": gzip.compress(bytes(60_000_000)),
    "a parquet bomb": parquet(pa.table({"time": pa.array([0] * 30_000_000, pa.int64())})),
    "a parquet of a thousand columns": parquet(pa.table({f"c{n}": [1] for n in range(1000)})),
    "a parquet with nested lists": parquet(pa.table({"time": [[[[1]]]]})),
    "a web page": HTML,
    "a picture that runs": SVG,
    "entities that expand": EXPANDING,
    "UTF-16 with its mark": "time,transit_time [us]\n".encode("utf-16"),
    "bytes of no encoding": bytes(range(128, 256)) * 20,
    "an endless line": b"time," + b"9" * 3_000_000,
    "a line of a million commas": b"," * 1_000_000,
    "an open quote": b'time,transit_time [us]\n"' + b"x" * 100_000,
    "a header of formulas": b"=cmd|'/c calc'!A1,@SUM(1),+1,-1\n1,2,3,4\n",
    "quantities that blow up": b"time,transit_time [us],time_difference [ns]\n2026-10-06T09:00:00,1e999,nan\n" * 3,
    "a program": b"\x7fELF" + bytes(1000),
    "a script": b"#!/bin/sh\nrm -rf /\n",
    "a PDF cut off": b"%PDF-1.7\n1 0 obj\n",
    "a PDF behind a web page": HTML + b"\n%PDF-1.7\n%%EOF\n",
    "a PDF of an unknown version": b"%PDF-9.9\n%%EOF\n",
}  # fmt: skip
NAMES = (
    "../../etc/passwd",
    "..\\..\\x.exe",
    "a\r\nSet-Cookie: x=1.csv",
    "x\u202egpj.csv",
    "\0",
    "n" * 5000,
    "=cmd|'/c calc'!A1",
)
# Where files are taken, and by whom.
PLACES = {
    "surveys/{other}/log/": "office",
    "log-formats/detections/": "office",
    "log-formats/{log_format}/previews/": "office",
    "instruments/{instrument}/documents/": "calibration_admin",
    "calibrations/{uncertified}/certificate/": "calibration_admin",
    "calibrations/bulk/": "calibration_admin",
    "technicians/{technician}/qualifications/{qualification}/certificate/": "office",
}


@pytest.fixture
def places(cast: Any, site: Any, kit: Any) -> dict[str, str]:
    """The addresses, of records there are."""
    there = Everything(cast, site, kit)
    ids = {
        "other": there.fresh_survey(),
        "log_format": there.ids["log-formats"],
        "instrument": there.ids["instruments"],
        "uncertified": str(kit.gauge.calibrations.first().pk),
        "technician": there.ids["technicians"],
        "qualification": there.ids["qualifications"],
    }
    return {"/api/v1/" + place.format(**ids): who for place, who in PLACES.items()}


def kept() -> tuple[int, int]:
    return Log.objects.count(), Document.objects.count()


def test_a_hostile_file_is_rejected_with_a_code_and_not_stored(as_user: Any, places: dict[str, str]) -> None:
    before, tried = kept(), 0
    for place, who in places.items():
        for what, content in FILES.items():
            for form in (True, False):
                api = as_user(who)
                answer = (
                    api.post(
                        place,
                        {"file": SimpleUploadedFile("a.csv", content), "title": "x"},
                        format="multipart",
                    )
                    if form
                    else api.generic("POST", place, content, content_type="application/octet-stream")
                )
                tried += 1
                # A guess at a log format and a trial of one keep nothing, and may find something to read in anything.
                good = {200} if place.endswith(("detections/", "previews/")) else set()
                assert answer.status_code in {400, 409, 413, 415} | good, (place, what, answer.content[:300])
                if answer.status_code >= 400:
                    assert answer.json()["errors"][0]["code"], (place, what)
    assert kept() == before
    assert tried == len(PLACES) * len(FILES) * 2


@pytest.mark.parametrize("name", NAMES)
def test_a_file_keeps_no_path_and_no_line_of_its_name(
    as_user: Any, cast: Any, site: Any, kit: Any, name: str
) -> None:
    api = as_user("calibration_admin")
    path = f"/api/v1/instruments/{kit.meter.pk}/documents/"
    pdf = b"%PDF-1.7\n%%EOF\n"
    file = SimpleUploadedFile("x.pdf", pdf, "application/pdf")
    # Past what Django itself takes out of a name.
    file._name = name
    answer = api.generic("POST", f"{path}?name={name!r}", pdf, content_type="application/pdf")
    assert answer.status_code in (200, 201, 400), answer.content
    sent = api.post(path, {"file": file, "title": "x"}, format="multipart")
    assert sent.status_code in (200, 201, 400)
    for one in Document.objects.all():
        assert not set(one.file_name) & set("/\\\r\n\0\u202e")
        assert len(one.file_name) <= 200
        found = api.get(f"{path}{one.pk}/")
        assert found["Content-Disposition"].startswith("attachment; filename=")
        assert "Set-Cookie" not in found.headers
        assert b"".join(found.streaming_content) == pdf
