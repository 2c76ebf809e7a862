"""Rejection of a body that ends before its announced length."""

from __future__ import annotations

import io

import pytest

from surveys.operations.body_length import BodyTruncated, LengthCheckedBody, check_body_length


def test_a_complete_body_can_be_read_to_its_end_repeatedly() -> None:
    body = LengthCheckedBody(io.BytesIO(b"time,flow\n1,2\n"), 14)
    assert (body.readline(100), body.read(100), body.read(100), body.readline(100)) == (
        b"time,flow\n",
        b"1,2\n",
        b"",
        b"",
    )


@pytest.mark.parametrize("read", [LengthCheckedBody.read, LengthCheckedBody.readline])
def test_a_truncated_body_names_its_length(read: object) -> None:
    body = LengthCheckedBody(io.BytesIO(b"time,flow\n"), 14)
    assert read(body, 100) == b"time,flow\n"  # type: ignore[operator]
    with pytest.raises(BodyTruncated, match="received=10, expected=14") as caught:
        read(body, 100)  # type: ignore[operator]
    assert (caught.value.status, caught.value.code) == (400, "body-cut-off")
    assert read(body, 100) == b""  # type: ignore[operator]


@pytest.mark.parametrize(
    ("length", "read"), [("3", b"abc"), ("", b"abc"), ("-5", b"abc"), ("\N{SUPERSCRIPT TWO}", b"abc")]
)
def test_a_length_that_is_none_is_left_to_the_framework(length: str, read: bytes) -> None:
    given = []
    application = check_body_length(lambda environ, _: given.append(environ["wsgi.input"].read(10)) or [])  # type: ignore[func-returns-value]
    application({"CONTENT_LENGTH": length, "wsgi.input": io.BytesIO(b"abc")}, lambda *_: None)
    assert given == [read]
