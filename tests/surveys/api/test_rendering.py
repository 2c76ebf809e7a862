"""Responses as the JSON of the framework, with either renderer."""

from __future__ import annotations

import json
import math
from datetime import UTC, date, datetime, timedelta
from decimal import Decimal
from typing import Any
from uuid import UUID

import pytest
from hypothesis import given
from hypothesis import strategies as st
from rest_framework import renderers
from rest_framework.utils.serializer_helpers import ReturnDict, ReturnList

from surveys.api.fields import in_units, put_in_units
from surveys.api.rendering import JSONRenderer

LEAVES = (
    st.none() | st.booleans() | st.integers() | st.floats(allow_nan=False, allow_infinity=False) | st.text()
)
DOCUMENTS = st.recursive(
    LEAVES, lambda inner: st.lists(inner) | st.dictionaries(st.text(), inner), max_leaves=20
)
FIGURES = st.fixed_dictionaries({"si": st.floats(-1e6, 1e6), "kind": st.sampled_from(["length", "speed"])}) | st.fixed_dictionaries(
    {"si": st.floats(-1e6, 1e6), "kind": st.just("volume_flow"), "per": st.sampled_from(["length", "number"])}
)  # fmt: skip
STORED = st.recursive(
    LEAVES | FIGURES, lambda inner: st.lists(inner) | st.dictionaries(st.text(), inner), max_leaves=20
)


def usual(document: Any) -> Any:
    return json.loads(renderers.JSONRenderer().render(document))


@given(DOCUMENTS)
def test_any_document_reads_as_the_framework_writes_it(document: Any) -> None:
    if document is not None:
        assert json.loads(JSONRenderer().render(document)) == usual(document)


def test_ids_times_and_other_values_are_worded_as_the_framework_words_them() -> None:
    document = {
        "id": UUID(int=7),
        "instant": datetime(2026, 10, 5, 7, 30, 0, 120, UTC),
        "local": datetime(2026, 10, 5, 7, 30),
        "day": date(2026, 10, 5),
        "span": timedelta(minutes=3),
        "decimal": Decimal("1.50"),
        "large": 2**70,
        "keys": {1: "one"},
        "tuple": (1, 2.5),
    }
    assert json.loads(JSONRenderer().render(document)) == usual(document)


@pytest.mark.parametrize("number", [math.nan, math.inf, -math.inf])
@pytest.mark.parametrize(
    "place",
    [
        lambda n: n,
        lambda n: {"a": [1, {"b": n}]},
        lambda n: [[n]],
        lambda n: (1, (n,)),
        # What serializers answer with.
        lambda n: ReturnDict({"a": n}, serializer=None),
        lambda n: ReturnList([{"a": n}], serializer=None),
    ],
)
def test_a_number_that_is_not_finite_is_rejected_in_every_field(number: float, place: Any) -> None:
    with pytest.raises(ValueError):
        JSONRenderer().render(place(number))
    with pytest.raises(ValueError):
        in_units({"si": number, "kind": "length"}, "metric")


def test_the_response_is_safe_in_a_script() -> None:
    assert JSONRenderer().render("a\u2028b\u2029") == rb'"a\u2028b\u2029"'


@given(STORED)
def test_units_put_into_a_document_are_those_of_a_new_one(document: Any) -> None:
    new = in_units(document, "us")
    assert put_in_units(document, "us") == new
