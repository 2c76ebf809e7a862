"""Sentences of errors of requests, records and people, as readers in both unit systems get them."""

from __future__ import annotations

from typing import Any

import pytest
from django.core.exceptions import ValidationError as DjangoValidationError
from django.db import IntegrityError
from rest_framework import serializers
from rest_framework.exceptions import MethodNotAllowed, Throttled

from compute.base.errors import OutOfRange
from compute.base.messages import message
from surveys.core.messages import Reader, render
from surveys.core.messages.catalogue import CATALOGUE
from surveys.inputs.constraints import CONSTRAINTS
from surveys.inputs.limits import check_limits
from surveys.inputs.problems import problem_of
from surveys.models.site import validate_time_zone


class BookIn(serializers.Serializer):
    title = serializers.CharField(max_length=5)
    pages = serializers.IntegerField(min_value=1, max_value=9)
    kind = serializers.ChoiceField(["novel", "atlas"])


def errors_of(serializer: type[serializers.Serializer], data: Any) -> dict[str, tuple[str, str]]:
    with pytest.raises(serializers.ValidationError) as caught:
        serializer(data=data).is_valid(raise_exception=True)
    problem = problem_of(caught.value, "metric")
    assert problem
    return {one["field"]: (one["code"], one["detail"]) for one in problem["errors"]}


def test_errors_of_the_framework_are_read_in_the_words_of_the_catalogue() -> None:
    assert errors_of(BookIn, {"title": "too long", "pages": 10, "kind": "poem"}) == {
        "title": ("max-length", "Title is too long. Enter at most 5 characters or entries."),
        "pages": ("max-value", "Pages is too large. Enter a value of at most 9."),
        "kind": (
            "invalid-choice",
            "'poem' is not one of the available choices. Enter one of the choices that the API description lists.",
        ),
    }
    assert errors_of(BookIn, {"title": None, "pages": 0}) == {
        "title": ("null", "Title must not be null. Enter a value, or leave out the field if it is optional."),
        "pages": ("min-value", "Pages is too small. Enter a value of at least 1."),
        "kind": ("required", "Kind is required. Enter a value."),
    }


@pytest.mark.parametrize(
    ("error", "status", "code", "detail"),
    [
        (
            MethodNotAllowed("PUT"),
            405,
            "method-not-allowed",
            "The method PUT is not allowed at this address. Use one of the methods in the Allow header.",
        ),
        (
            Throttled(1),
            429,
            "throttled",
            "You sent too many requests in a short time. Try again in 1 second.",
        ),
        (
            IntegrityError("UNIQUE constraint failed: surveys_site.client_id, surveys_site.name"),
            409,
            "conflict",
            "This client already has a site with this name. Enter a different name.",
        ),
        (
            IntegrityError("something else"),
            409,
            "conflict",
            "The request conflicts with existing records. Reload the record and try again.",
        ),
    ],
)
def test_errors_are_problem_documents(error: Exception, status: int, code: str, detail: str) -> None:
    problem = problem_of(error, "metric")
    assert problem
    assert (problem["status"], problem["code"], problem["detail"]) == (status, code, detail)


def test_a_rule_of_a_model_keeps_its_code() -> None:
    with pytest.raises(DjangoValidationError) as caught:
        validate_time_zone("Atlantis/Capital")
    problem = problem_of(caught.value, "metric")
    assert problem
    assert problem["code"] == "time-zone-unknown"
    assert problem["detail"].startswith("'Atlantis/Capital' is not a time zone.")


@pytest.mark.parametrize(
    ("units", "text"),
    [
        (
            "metric",
            "−20\xa0000\xa0mm is out of range. Enter a value from 0.01\xa0mm to 10\xa0000\xa0000\xa0mm.",
        ),
        ("us", "−787.4\xa0in is out of range. Enter a value from 0.0003937\xa0in to 393\xa0700\xa0in."),
    ],
)
def test_limits_are_read_in_the_units_of_the_reader(units: Any, text: str) -> None:
    with pytest.raises(OutOfRange) as caught:
        check_limits(-20.0, "length", 1e-5)
    assert caught.value.message
    assert render(caught.value.message, Reader(units)).body == text


def test_a_weak_password_is_rejected_with_every_broken_rule() -> None:
    of = message(
        "password-weak",
        rules=[{"term": "password-too-short"}, {"term": "password-entirely-numeric"}],
        min_length=12,
    )
    assert render(of).body == (
        "The password is too short and made of digits only. "
        "Enter at least 12 characters that are difficult to guess."
    )


@pytest.mark.parametrize(("field", "key"), sorted(set(CONSTRAINTS.values())))
def test_every_constraint_has_an_entry(field: str, key: str) -> None:
    assert key in CATALOGUE
    assert not field or field.replace("_", "").replace(".", "").isalpha()
