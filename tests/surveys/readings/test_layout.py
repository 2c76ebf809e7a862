"""Layouts: to JSON and back, and refused where they cannot be meant so."""

from __future__ import annotations

import json
from typing import Any

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from surveys.errors import ServiceError
from surveys.readings.layout import PLAIN, LogLayout
from tests.surveys.readings.logs import layout

COLUMN = {"name": "flow_velocity", "at": 2, "unit": "m/s"}


def test_a_layout_comes_back_from_json_as_it_went() -> None:
    full = layout(
        encoding="cp1252",
        delimiter=";",
        decimal_mark=",",
        comment="#",
        header_line=3,
        skip_after_header=1,
        no_value=["---", ""],
        time={
            "at": "Date",
            "clock": "Time",
            "form": "pattern",
            "pattern": "%d.%m.%y %H:%M",
            "zone": "UTC-03:30",
        },
        columns=[{"name": "volume_flow", "at": "Q", "unit": "m3/h", "turned": True}],
    )
    for one in (full, PLAIN):
        assert LogLayout.from_json(json.loads(json.dumps(one.as_json()))) == one
    assert LogLayout.from_json({}) == PLAIN


@pytest.mark.parametrize(
    ("raw", "field"),
    [
        ([], "layout"),
        ({"colour": "blue"}, "layout"),
        ({"form": "xml"}, "layout.form"),
        ({"encoding": "ebcdic"}, "layout.encoding"),
        ({"delimiter": ";;"}, "layout.delimiter"),
        ({"delimiter": "a"}, "layout.delimiter"),
        ({"delimiter": "."}, "layout.delimiter"),
        ({"delimiter": "\n"}, "layout.delimiter"),
        ({"delimiter": "é"}, "layout.delimiter"),
        ({"delimiter": ",", "decimal_mark": ","}, "layout.delimiter"),
        ({"decimal_mark": "'"}, "layout.decimal_mark"),
        ({"quote": "`"}, "layout.quote"),
        ({"comment": "1"}, "layout.comment"),
        ({"comment": "\x00"}, "layout.comment"),
        ({"header_line": 0}, "layout.header_line"),
        ({"header_line": True}, "layout.header_line"),
        ({"header_line": 10**9}, "layout.header_line"),
        ({"header_line": None}, "layout.time.at"),
        ({"header_line": None, "time": {"at": 1}}, "layout.columns"),
        ({"skip_after_header": -1}, "layout.skip_after_header"),
        ({"no_value": "---"}, "layout.no_value"),
        ({"no_value": [1]}, "layout.no_value.0"),
        ({"time": "time"}, "layout.time"),
        ({"time": {"at": 0}}, "layout.time.at"),
        ({"time": {"at": " "}}, "layout.time.at"),
        ({"time": {"form": "sundial"}}, "layout.time.form"),
        ({"time": {"form": "unix-seconds", "clock": 2}}, "layout.time.form"),
        ({"time": {"form": "pattern", "pattern": "%x"}}, "layout.time.pattern"),
        ({"time": {"pattern": "%Y"}}, "layout.time.pattern"),
        ({"time": {"zone": "Atlantis/Port"}}, "layout.time.zone"),
        ({"time": {"zone": "../../etc/passwd"}}, "layout.time.zone"),
        ({"time": {"zone": "UTC+25:00"}}, "layout.time.zone"),
        ({"time": {"starts_at": "yesterday"}}, "layout.time.starts_at"),
        ({"columns": [{"name": "flow_velocity"}]}, "layout.columns.0"),
        ({"columns": [COLUMN | {"name": "pressure"}]}, "layout.columns.0.name"),
        ({"columns": [COLUMN | {"unit": "furlong"}]}, "layout.columns.0.unit"),
        ({"columns": [COLUMN | {"unit": ""}]}, "layout.columns.0.unit"),
        ({"columns": [COLUMN | {"turned": 1}]}, "layout.columns.0.turned"),
        ({"columns": [COLUMN, COLUMN]}, "layout.columns"),
        ({"columns": [COLUMN | {"name": "sound_speed"}]}, "layout.columns"),
        ({"columns": [COLUMN], "time": {"at": 2}}, "layout.columns"),
        ({"columns": [COLUMN] * 65}, "layout.columns"),
    ],
)  # fmt: skip
def test_a_layout_that_cannot_be_meant_so_is_refused_at_its_field(raw: Any, field: str) -> None:
    with pytest.raises(ServiceError) as caught:
        LogLayout.from_json(raw)
    assert caught.value.field == field
    assert caught.value.status == 400
    assert caught.value.detail


JSON = st.recursive(
    st.none() | st.booleans() | st.integers() | st.floats(allow_nan=False) | st.text(max_size=8),
    lambda inner: st.lists(inner, max_size=3) | st.dictionaries(st.text(max_size=8), inner, max_size=3),
    max_leaves=8,
)


@settings(deadline=None)
@given(
    st.dictionaries(
        st.sampled_from([*PLAIN.as_json()]),
        JSON | st.dictionaries(st.sampled_from(["at", "clock", "form", "pattern", "zone"]), JSON),
    )
)
def test_whatever_json_comes_is_a_layout_or_refused(raw: Any) -> None:
    found, field = PLAIN, "layout"
    try:
        found = LogLayout.from_json(raw)
    except ServiceError as error:
        field = error.field
    assert field.startswith("layout")
    assert LogLayout.from_json(json.loads(json.dumps(found.as_json()))) == found
