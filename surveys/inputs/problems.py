"""Errors, whatever raised them, as fields, codes and texts of a problem document (RFC 9457)."""

from __future__ import annotations

import logging
from collections.abc import Iterator, Mapping
from http import HTTPStatus
from typing import Any

from django.core.exceptions import NON_FIELD_ERRORS, RequestDataTooBig
from django.core.exceptions import PermissionDenied as DjangoPermissionDenied
from django.core.exceptions import ValidationError as DjangoValidationError
from django.db import IntegrityError, InterfaceError, OperationalError
from django.db.models import ProtectedError
from django.http import Http404
from rest_framework import exceptions
from rest_framework.settings import api_settings

from compute.base.errors import ComputeError
from compute.base.messages import Message, message
from compute.base.units import System
from surveys.core.errors import ServiceError
from surveys.core.messages import METRIC, MessageCode, Reader, render
from surveys.inputs.constraints import constraint_violated
from surveys.inputs.framework_errors import framework_message

CONTENT_TYPE = "application/problem+json"


def errors_of(error: Exception, units: System) -> list[dict[str, str]] | None:
    """The errors of a problem document for something raised; None for a fault of ours."""
    found = status_and_errors(error)
    return found and errors_read(found[1], units)


def problem_of(error: Exception, units: System) -> dict[str, Any] | None:
    """The problem document for something raised; None for a fault of ours."""
    found = status_and_errors(error)
    return found and problem(found[0], errors_read(found[1], units))


def problem_of_message(status: int, of: Message, reader: Reader = METRIC) -> dict[str, Any]:
    """The problem document for a message that nothing raised."""
    return problem(status, [{"field": "", "code": of.code, "detail": render(of, reader).body}])


def problem(status: int, errors: list[dict[str, str]]) -> dict[str, Any]:
    """A problem document."""
    return {
        "type": f"/help/codes/{errors[0]['code']}/",
        "title": HTTPStatus(status).phrase,
        "status": status,
        "detail": " ".join(dict.fromkeys(error["detail"] for error in errors)),
        "code": errors[0]["code"],
        "errors": errors,
    }


def errors_read(errors: list[dict[str, Any]], units: System) -> list[dict[str, str]]:
    """Errors in the words of the catalogue and the reader's units."""
    reader = Reader(units)
    return [
        one | {"code": str(one["code"]), "detail": _detail(one["code"], one["detail"], reader)}
        for one in errors
    ]


def _detail(code: str, text: str, reader: Reader) -> str:
    return render(code.message, reader).body if isinstance(code, MessageCode) else text


def status_and_errors(error: Exception) -> tuple[int, list[dict[str, str]]] | None:
    """The HTTP status and the errors by field for something raised; None for a fault of ours."""
    if isinstance(error, ComputeError):
        return 400, [_of_message(error.field, error.message)]
    if isinstance(error, ServiceError):
        return error.status, [_of_message(error.field, error.message)]
    if isinstance(error, exceptions.ValidationError):
        return 400, list(_flat(error.detail))
    if isinstance(error, DjangoValidationError):
        return _of_model_rules(error)
    if isinstance(error, IntegrityError):
        return 409, [_of_message(*constraint_violated(error))]
    if isinstance(error, exceptions.APIException):
        return error.status_code, [_of_api_exception(error)]
    for kind, (status, found) in PLAIN.items():
        if isinstance(error, kind):
            return status, [_of_message("", found)]
    return None


# Errors of Django that say nothing but their kind.
PLAIN: Mapping[type[Exception], tuple[int, Message]] = {
    ProtectedError: (409, message("in-use")),
    RequestDataTooBig: (413, message("body-too-large")),
    Http404: (404, message("not-found")),
    DjangoPermissionDenied: (403, message("not-allowed")),
}


def not_now(error: Exception) -> tuple[int, list[dict[str, str]]] | None:
    """The database does not respond, or two transactions block each other: nobody's mistake, and soon over."""
    if not isinstance(error, OperationalError | InterfaceError):
        return None
    logging.getLogger(__name__).error("the database did not complete the request", exc_info=error)
    return 503, [_of_message("", message("service-unavailable"))]


def _error(field: str, code: str, detail: str) -> dict[str, str]:
    return {"field": field, "code": code, "detail": detail}


def _of_message(field: str, of: Message) -> dict[str, str]:
    return _error(field, MessageCode(of), str(of))


def _of_framework(
    field: str, code: object, text: str, params: Mapping[str, Any] | None = None
) -> dict[str, str]:
    """An error of a framework: by the message its code carries, or by the entry for its code; else in its own words."""
    if isinstance(code, MessageCode):
        return _error(field, code, text)
    slug = str(code or "invalid").replace("_", "-")
    found = framework_message(slug, text, field, params)
    return _of_message(field, found) if found else _error(field, slug, text)


def _of_api_exception(error: exceptions.APIException) -> dict[str, str]:
    if error.status_code == HTTPStatus.NOT_FOUND:
        return _of_message("", message("not-found"))
    code = error.get_codes()
    return _of_framework("", "invalid" if isinstance(code, list | dict) else code, str(error.detail))


def _flat(detail: Any, path: str = "") -> Iterator[dict[str, str]]:
    """Nested errors of serializers as dotted paths."""
    if isinstance(detail, Mapping):
        for name, inner in detail.items():
            here = path if name == api_settings.NON_FIELD_ERRORS_KEY else f"{path}.{name}".lstrip(".")
            yield from _flat(inner, here)
    elif isinstance(detail, list | tuple):
        for index, inner in enumerate(detail):
            nested = isinstance(inner, Mapping | list) and inner
            yield from _flat(inner, f"{path}.{index}".lstrip(".") if nested else path)
    else:
        yield _of_framework(path, getattr(detail, "code", ""), str(detail))


def _of_model_rules(error: DjangoValidationError) -> tuple[int, list[dict[str, str]]]:
    by_field = error.error_dict if hasattr(error, "error_dict") else {NON_FIELD_ERRORS: error.error_list}
    errors = [
        _of_framework("" if field == NON_FIELD_ERRORS else field, one.code, text, one.params)
        for field, ones in by_field.items()
        for one in ones
        for text in one.messages
    ]
    return (409 if all(e["code"] == "unique" for e in errors) else 400), errors
