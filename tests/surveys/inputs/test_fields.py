"""Input serializers: each request is validated independently."""

from __future__ import annotations

from types import SimpleNamespace
from typing import Any

import pytest
from rest_framework import serializers
from rest_framework.exceptions import ValidationError

from surveys.inputs.fields import StrictSerializer, TextField, VisibleRecord, checked
from surveys.models import Site

pytestmark = pytest.mark.django_db


class VisitIn(StrictSerializer):
    site = VisibleRecord(Site)
    note = TextField(required=False, allow_blank=True)
    round = TextField(required=False, default="first")
    sure = serializers.BooleanField(required=False)


def validated_visit(body: Any, user: Any, **options: Any) -> dict[str, Any]:
    return checked(VisitIn, body, {"request": SimpleNamespace(user=user)}, **options)


def codes(body: Any, user: Any, **options: Any) -> dict[str, list[str]]:
    with pytest.raises(ValidationError) as rejected:
        validated_visit(body, user, **options)
    return rejected.value.get_codes()  # type: ignore[return-value]


def test_each_request_is_judged_by_who_sends_it(cast: Any, site: Site) -> None:
    body = {"site": str(site.pk)}
    for _ in range(2):
        assert validated_visit(body, cast.owner)["site"] == site
        assert codes(body, cast.stranger) == {"site": ["does_not_exist"]}


def test_nothing_of_a_request_is_found_in_the_next(cast: Any, site: Site) -> None:
    body = {"site": str(site.pk), "note": "Wet.", "round": "second", "sure": True}
    assert validated_visit(body, cast.office) == {
        "site": site,
        "note": "Wet.",
        "round": "second",
        "sure": True,
    }
    assert validated_visit({"site": str(site.pk)}, cast.office) == {"site": site, "round": "first"}
    assert codes({}, cast.office) == {"site": ["required"]}
    assert codes(None, cast.office) == {"non_field_errors": ["null"]}
    assert codes({"site": str(site.pk), "notes": "x"}, cast.office) == {"notes": ["unknown-field"]}


def test_of_a_change_a_part_will_do_and_of_an_entry_not(cast: Any) -> None:
    assert validated_visit({"note": ""}, cast.office, partial=True) == {"note": ""}
    assert codes({"note": ""}, cast.office) == {"site": ["required"]}
