"""Errors as problem documents (RFC 9457), whatever raised them."""

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
from django.http.response import HttpResponseBase
from rest_framework import exceptions, serializers
from rest_framework.response import Response
from rest_framework.settings import api_settings

from compute.base.errors import ComputeError
from compute.base.marks import System, plain
from surveys.api.idempotency import Replay
from surveys.core.errors import ServiceError
from surveys.core.messages import MessageCode, Reader, code_of, render

CONTENT_TYPE = "application/problem+json"
DATABASE_AWAY = "The database does not answer just now; send this again in a moment, a write with the same Idempotency-Key."
NOT_FOUND_DETAIL = "There is nothing at this address, or nothing you may see."

# What a constraint of the database means to the person whose entry it refused: field, sentence.
CONSTRAINTS: Mapping[str, tuple[str, str]] = {
    "site_name_once_for_a_client": ("name", "This client has a site of that name already."),
    "pipe_name_once_at_a_site": ("name", "This site has a pipe of that name already."),
    "measuring_point_name_once_on_a_pipe": ("name", "This pipe has a measuring point of that name already."),
    "instrument_serial_once_in_a_kind": ("serial", "An instrument of this kind has that serial already."),
    "calibration_certificate_once": ("certificate", "That certificate is on record already."),
    "intermediate_check_second_meter_where_two": (
        "other_instrument",
        "A comparison names the second meter; no other check does.",
    ),
    "intermediate_check_of_two_instruments": ("other_instrument", "Compare it with another meter."),
    "instrument_type_name_once_in_a_kind": ("name", "This kind has a type of that name already."),
    "instrument_type_frequencies_in_order": (
        "max_frequency",
        "The highest frequency is not below the lowest.",
    ),
    "instrument_type_velocities_in_order": (
        "max_velocity",
        "The highest velocity is not below the lowest.",
    ),
    "instrument_type_temperatures_in_order": (
        "max_temperature",
        "The highest temperature is not below the lowest.",
    ),
    "instrument_type_spacings_in_order": (
        "max_spacing",
        "The longest spacing is not below the shortest.",
    ),
    "instrument_type_walls_in_order": ("max_wall_thickness", "The thickest wall is not below the thinnest."),
    "report_one_current_for_a_survey": (
        "",
        "Another report of this survey was issued at this moment; look at that.",
    ),
    "report_revision_once": ("", "Another report of this survey was issued at this moment; look at that."),
    "calibration_due_after_its_date": ("due_on", "A calibration is due after its date."),
    "calibration_point_uncertainty_possible": (
        "as_found",
        "An expanded uncertainty is not below 0, its coverage factor not below 1.",
    ),
    "acceptance_policy_about_instrument_or_type": (
        "instrument",
        "A policy is about one instrument, or about a kind with or without a type.",
    ),
    "error_correction_policy_about_instrument_or_type": (
        "instrument",
        "A policy is about one instrument, or about a kind with or without a type.",
    ),
    "interval_policy_about_instrument_or_type": (
        "instrument",
        "A policy is about one instrument, or about a kind with or without a type.",
    ),
    "interval_policy_has_a_calendar": ("months", "An interval needs months or days."),
    "instrument_not_its_own_accessory": ("belongs_to", "An instrument is no accessory of itself."),
    "document_once_at_an_instrument": ("file", "That file is among the instrument's documents already."),
    "job_ends_after_it_starts": ("ends_at", "A job ends after it starts."),
    "job_window_ends_after_it_starts": ("latest_end", "A window ends after it starts."),
    "job_expected_hours_positive": ("expected_hours", "The expected hours are above 0."),
    "job_priority_1_to_5": ("priority", "A priority is 1 (most pressing) to 5."),
    "site_coordinates_possible": (
        "latitude",
        "Give both coordinates or neither, in degrees: latitude within 90, longitude within 180.",
    ),
    "technician_coordinates_possible": (
        "latitude",
        "Give both coordinates or neither, in degrees: latitude within 90, longitude within 180.",
    ),
    "qualification_expires_after_issue": ("expires_on", "A qualification does not expire before its issue."),
    "absence_ends_after_it_starts": ("ends_at", "An absence ends after it starts."),
    "booking_ends_after_it_starts": ("ends_at", "A booking ends after it starts."),
    "booking_of_instrument_or_technician": ("instrument", "Book one instrument or one technician."),
    "booking_instrument_never_twice": ("instrument", "That instrument is booked in that time already."),
    "booking_technician_never_twice": ("technician", "That technician is booked in that time already."),
    "booking_handed_over_once": ("", "It was handed over so already."),
    "survey_ends_after_it_starts": ("ended_at", "A survey ends after it starts."),
    "survey_not_its_own_primary_survey": ("primary_survey", "A survey is no further path of itself."),
    "combination_part_once": ("parts", "A survey is a part of a combination once."),
    "survey_temperature_states_its_source": (
        "medium_temperature",
        "Say with a temperature whether it was measured or estimated.",
    ),
    "pipe_data_bore_left": ("pipe.wall_thickness", "Wall and lining leave no bore."),
    "pipe_data_corrected_once": ("corrects", "That version was corrected already."),
    "measuring_point_straight_lengths_not_negative": (
        "upstream_straight_length",
        "A straight length is not below 0.",
    ),
    "transducer_data_temperatures_in_order": (
        "transducers.min_temperature",
        "The lowest temperature is below the highest.",
    ),
    "surveys_logformat_name": ("name", "There is a log format of that name already."),
    "surveys_logformat.name": ("name", "There is a log format of that name already."),
    "user_client_only_for_client_viewers": (
        "client",
        "A client viewer belongs to a client, and nobody else does.",
    ),
    "user_service_account_without_admin": (
        "is_service_account",
        "A service account does not use the administrator's pages.",
    ),
    "invitation_client_viewers_have_a_client": (
        "client",
        "A client viewer belongs to a client, and nobody else does.",
    ),
    "surveys_user_username": ("username", "There is a user of that name already."),
    "surveys_user.username": ("username", "There is a user of that name already."),
    "surveys_client_name": ("name", "There is a client of that name already."),
    "surveys_client.name": ("name", "There is a client of that name already."),
}


class Problem(serializers.Serializer):
    """An error: what was wrong, where, and what to do."""

    class Error(serializers.Serializer):
        field = serializers.CharField(
            help_text="Path in the request, such as pipe.wall_thickness; empty if none."
        )
        code = serializers.CharField()
        detail = serializers.CharField()

        class Meta:
            ref_name = "ProblemError"

    type = serializers.CharField()
    title = serializers.CharField()
    status = serializers.IntegerField()
    detail = serializers.CharField()
    code = serializers.CharField()
    errors = Error(many=True)


def exception_handler(error: Exception, context: Mapping[str, Any]) -> HttpResponseBase | None:
    """Turn an error of a view into a problem document; None for one that is a fault of ours."""
    if isinstance(error, Replay):
        return error.response
    found = _status_and_errors(error) or _not_now(error)
    if found is None:
        return None
    request = context.get("request")
    us = request is not None and request.query_params.get("units") == "us"
    status, errors = found[0], _read(found[1], "us" if us else "metric")
    headers = {"Retry-After": "1"} if status == HTTPStatus.SERVICE_UNAVAILABLE else {}
    if status == HTTPStatus.UNAUTHORIZED:
        headers["WWW-Authenticate"] = getattr(error, "auth_header", "") or "Token"
    if wait := getattr(error, "wait", None):
        headers["Retry-After"] = str(int(wait) + 1)
    return Response(problem(status, errors), status=status, headers=headers, content_type=CONTENT_TYPE)


def errors_of(error: Exception, units: System) -> list[dict[str, str]] | None:
    """The errors of a problem document for something raised; None for a fault of ours."""
    found = _status_and_errors(error)
    return found and _read(found[1], units)


def problem_of(error: Exception, units: System) -> dict[str, Any] | None:
    """The problem document for something raised; None for a fault of ours."""
    found = _status_and_errors(error)
    return found and problem(found[0], _read(found[1], units))


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


def _read(errors: list[dict[str, Any]], units: System) -> list[dict[str, str]]:
    """Errors in the words of the catalogue and the reader's units."""
    reader = Reader(units)
    return [
        one | {"code": str(one["code"]), "detail": _detail(one["code"], one["detail"], reader)}
        for one in errors
    ]


def _detail(code: str, text: str, reader: Reader) -> str:
    return render(code.message, reader).body if isinstance(code, MessageCode) else plain(text, reader.units)


def _status_and_errors(error: Exception) -> tuple[int, list[dict[str, str]]] | None:
    if isinstance(error, ComputeError):
        return 400, [_error(error.field, code_of(error), error.said)]
    if isinstance(error, ServiceError):
        return error.status, [_error(error.field, code_of(error), error.said)]
    if isinstance(error, exceptions.ValidationError):
        return 400, list(_flat(error.detail))
    if isinstance(error, DjangoValidationError):
        return _of_model_rules(error)
    if isinstance(error, IntegrityError):
        return _of_constraint(error)
    if isinstance(error, ProtectedError):
        return 409, [_error("", "in-use", "Other records rest on this one; retire it instead.")]
    if isinstance(error, RequestDataTooBig):
        return 413, [_error("", "body-too-large", "The body is too large.")]
    if isinstance(error, Http404):
        return 404, [_error("", "not-found", NOT_FOUND_DETAIL)]
    if isinstance(error, DjangoPermissionDenied):
        return 403, [_error("", "not-allowed", "You may not do this.")]
    if isinstance(error, exceptions.APIException):
        detail = NOT_FOUND_DETAIL if error.status_code == 404 else str(error.detail)
        code = str(error.get_codes()) if not isinstance(error.get_codes(), list | dict) else "invalid"
        return error.status_code, [_error("", code.replace("_", "-"), detail)]
    return None


def _not_now(error: Exception) -> tuple[int, list[dict[str, str]]] | None:
    """The database is away, or two transactions stood in each other's way: nobody's mistake, and soon over."""
    if not isinstance(error, OperationalError | InterfaceError):
        return None
    logging.getLogger(__name__).error("the database did not do it", exc_info=error)
    return 503, [_error("", "service-unavailable", DATABASE_AWAY)]


def _error(field: str, code: str, detail: str) -> dict[str, str]:
    return {"field": field, "code": code, "detail": detail}


def _code(code: object) -> str:
    """The code of an error of a framework, with its message if it carries one."""
    return code if isinstance(code, MessageCode) else str(code or "invalid").replace("_", "-")


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
        yield _error(path, _code(getattr(detail, "code", "")), str(detail))


def _of_model_rules(error: DjangoValidationError) -> tuple[int, list[dict[str, str]]]:
    by_field = error.error_dict if hasattr(error, "error_dict") else {NON_FIELD_ERRORS: error.error_list}
    errors = [
        _error("" if field == NON_FIELD_ERRORS else field, _code(one.code), message)
        for field, ones in by_field.items()
        for one in ones
        for message in one.messages
    ]
    return (409 if all(e["code"] == "unique" for e in errors) else 400), errors


def _of_constraint(error: IntegrityError) -> tuple[int, list[dict[str, str]]]:
    text = str(error)
    for name, (field, detail) in CONSTRAINTS.items():
        if name in text or _sqlite_unique(name) in text:
            return 409, [_error(field, "conflict", detail)]
    logging.getLogger(__name__).warning("constraint without a sentence of its own: %s", text)
    return 409, [_error("", "conflict", "This does not fit the records as they are.")]


# SQLite names the columns of a unique constraint, not the constraint.
_SQLITE_UNIQUE = {
    "site_name_once_for_a_client": "surveys_site.client_id, surveys_site.name",
    "pipe_name_once_at_a_site": "surveys_pipe.site_id, surveys_pipe.name",
    "measuring_point_name_once_on_a_pipe": "surveys_measuringpoint.pipe_id, surveys_measuringpoint.name",
    "instrument_serial_once_in_a_kind": "surveys_instrument.kind, surveys_instrument.serial",
    "calibration_certificate_once": "surveys_calibration.instrument_id, surveys_calibration.laboratory",
    "pipe_data_corrected_once": "surveys_pipedata.corrects_id",
    "booking_handed_over_once": "surveys_bookingevent.booking_id, surveys_bookingevent.what",
    "combination_part_once": "surveys_combinationpart.combination_id, surveys_combinationpart.survey_id",
}


def _sqlite_unique(name: str) -> str:
    return _SQLITE_UNIQUE.get(name, "\0")
