"""JSON as strictly as the standard has it."""

from __future__ import annotations

import json
import re
from collections.abc import Mapping
from typing import IO, Any

from django.conf import settings
from rest_framework.exceptions import APIException, ParseError
from rest_framework.parsers import BaseParser

MAX_DEPTH = 12
MAX_NUMBER_LENGTH = 400
SINGLE_TRANSDUCER = re.compile(r"\\u[dD][89a-fA-F]")


class TooLarge(APIException):
    status_code = 413
    default_detail = "The body is too large."
    default_code = "body-too-large"


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
            raise TooLarge(f"The body is larger than {most // 1_000_000} MB.")
        try:
            text = body.decode("utf-8")
            document = json.loads(
                text, parse_constant=_no_constant, object_pairs_hook=_unique_keys, parse_int=_whole
            )
        except UnicodeDecodeError:
            raise ParseError("The body is not UTF-8.", code="not-utf-8") from None
        except RecursionError:
            raise ParseError("The JSON is nested too deeply.", code="json-too-deep") from None
        except ValueError as error:
            raise ParseError(f"The body is no JSON: {error}.", code="json-invalid") from None
        _check_depth(document)
        if SINGLE_TRANSDUCER.search(text):
            _check_text(document)
        return document


def _no_constant(name: str) -> Any:
    raise ValueError(f"{name} is no JSON number")


def _unique_keys(pairs: list[tuple[str, Any]]) -> dict[str, Any]:
    found = dict(pairs)
    if len(found) < len(pairs):
        raise ValueError("a key stands twice in one object")
    return found


def _whole(text: str) -> int:
    if len(text) > MAX_NUMBER_LENGTH:
        raise ValueError("a number has too many digits")
    return int(text)


def _check_text(document: Any) -> None:
    """An escaped half of a surrogate pair is no text: it can be neither stored nor answered."""
    try:
        json.dumps(document, ensure_ascii=False).encode()
    except UnicodeEncodeError:
        raise ParseError("The JSON holds half of a surrogate pair.", code="json-invalid") from None


def _check_depth(value: Any, depth: int = 0) -> None:
    if depth > MAX_DEPTH:
        raise ParseError(f"The JSON is nested deeper than {MAX_DEPTH}.", code="json-too-deep")
    inner = value.values() if isinstance(value, dict) else value if isinstance(value, list) else ()
    for one in inner:
        if isinstance(one, dict | list):
            _check_depth(one, depth + 1)
