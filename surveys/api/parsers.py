"""JSON as strictly as the standard defines it."""

from __future__ import annotations

import json
import re
from collections.abc import Mapping
from typing import IO, Any

from django.conf import settings
from rest_framework.exceptions import APIException, ParseError
from rest_framework.parsers import BaseParser

from compute.base.messages import message
from surveys.inputs.rejections import error_detail

MAX_DEPTH = 12
MAX_NUMBER_LENGTH = 400
SINGLE_TRANSDUCER = re.compile(r"\\u[dD][89a-fA-F]")


class TooLarge(APIException):
    """The body is larger than the service reads at once (413)."""

    status_code = 413


class StrictJSONParser(BaseParser):
    """UTF-8 JSON with no NaN, no infinity, no key twice, not too deep, not too large."""

    media_type = "application/json"

    def parse(
        self,
        stream: IO[bytes],
        media_type: str | None = None,
        parser_context: Mapping[str, Any] | None = None,
    ) -> Any:
        most = settings.DATA_UPLOAD_MAX_MEMORY_SIZE
        body = stream.read(most + 1)
        if len(body) > most:
            raise TooLarge(error_detail(message("body-too-large", most_mb=most // 1_000_000)))
        try:
            text = body.decode("utf-8")
            document = json.loads(
                text, parse_constant=_no_constant, object_pairs_hook=_unique_keys, parse_int=_whole
            )
        except UnicodeDecodeError:
            raise ParseError(error_detail(message("not-utf-8"))) from None
        except RecursionError:
            raise ParseError(error_detail(message("json-too-deep"))) from None
        except json.JSONDecodeError as error:
            raise ParseError(
                error_detail(message("json-invalid", line=error.lineno, column=error.colno))
            ) from None
        _check_depth(document)
        if SINGLE_TRANSDUCER.search(text):
            _check_text(document)
        return document


def _no_constant(name: str) -> Any:
    raise ParseError(error_detail(message("json-invalid/not-a-number", name=name)))


def _unique_keys(pairs: list[tuple[str, Any]]) -> dict[str, Any]:
    found = dict(pairs)
    if len(found) < len(pairs):
        raise ParseError(error_detail(message("json-invalid/duplicate-key")))
    return found


def _whole(text: str) -> int:
    if len(text) > MAX_NUMBER_LENGTH:
        raise ParseError(error_detail(message("json-invalid/number-too-long", most=MAX_NUMBER_LENGTH)))
    return int(text)


def _check_text(document: Any) -> None:
    """Reject an escaped half of a surrogate pair: it can be neither stored nor sent."""
    try:
        json.dumps(document, ensure_ascii=False).encode()
    except UnicodeEncodeError:
        raise ParseError(error_detail(message("json-invalid/surrogate"))) from None


def _check_depth(value: Any, depth: int = 0) -> None:
    if depth > MAX_DEPTH:
        raise ParseError(error_detail(message("json-too-deep", most=MAX_DEPTH)))
    inner = value.values() if isinstance(value, dict) else value if isinstance(value, list) else ()
    for one in inner:
        if isinstance(one, dict | list):
            _check_depth(one, depth + 1)
