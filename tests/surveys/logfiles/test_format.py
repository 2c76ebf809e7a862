"""Log formats as JSON, and rejection of impossible ones."""

from __future__ import annotations

import json
from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st

from surveys.core.errors import ServiceError
from surveys.logfiles.format import PLAIN, LogFormat
from tests.surveys.logfiles.logs import log_format

COLUMN = {"name": "flow_velocity", "at": 2, "unit": "m/s"}


def test_a_log_format_comes_back_from_json_as_it_went() -> None:
    full = log_format(
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
        assert LogFormat.from_json(json.loads(json.dumps(one.as_json()))) == one
    assert LogFormat.from_json({}) == PLAIN


@pytest.mark.parametrize(
    ("raw", "field"),
    [
        ([], "format"),
        ({"colour": "blue"}, "format"),
        ({"form": "xml"}, "format.form"),
        ({"encoding": "ebcdic"}, "format.encoding"),
        ({"delimiter": ";;"}, "format.delimiter"),
        ({"delimiter": "a"}, "format.delimiter"),
        ({"delimiter": "."}, "format.delimiter"),
        ({"delimiter": "\n"}, "format.delimiter"),
        ({"delimiter": "é"}, "format.delimiter"),
        ({"delimiter": ",", "decimal_mark": ","}, "format.delimiter"),
        ({"decimal_mark": "'"}, "format.decimal_mark"),
        ({"quote": "`"}, "format.quote"),
        ({"comment": "1"}, "format.comment"),
        ({"comment": "\x00"}, "format.comment"),
        ({"header_line": 0}, "format.header_line"),
        ({"header_line": True}, "format.header_line"),
        ({"header_line": 10**9}, "format.header_line"),
        ({"header_line": None}, "format.time.at"),
        ({"header_line": None, "time": {"at": 1}}, "format.columns"),
        ({"skip_after_header": -1}, "format.skip_after_header"),
        ({"no_value": "---"}, "format.no_value"),
        ({"no_value": [1]}, "format.no_value.0"),
        ({"time": "time"}, "format.time"),
        ({"time": {"at": 0}}, "format.time.at"),
        ({"time": {"at": " "}}, "format.time.at"),
        ({"time": {"form": "sundial"}}, "format.time.form"),
        ({"time": {"form": "unix-seconds", "clock": 2}}, "format.time.form"),
        ({"time": {"form": "pattern", "pattern": "%x"}}, "format.time.pattern"),
        ({"time": {"pattern": "%Y"}}, "format.time.pattern"),
        ({"time": {"zone": "Atlantis/Port"}}, "format.time.zone"),
        ({"time": {"zone": "../../etc/passwd"}}, "format.time.zone"),
        ({"time": {"zone": "UTC+25:00"}}, "format.time.zone"),
        ({"time": {"starts_at": "yesterday"}}, "format.time.starts_at"),
        ({"columns": [{"name": "flow_velocity"}]}, "format.columns.0"),
        ({"columns": [COLUMN | {"name": "pressure"}]}, "format.columns.0.name"),
        ({"columns": [COLUMN | {"unit": "furlong"}]}, "format.columns.0.unit"),
        ({"columns": [COLUMN | {"unit": ""}]}, "format.columns.0.unit"),
        ({"columns": [COLUMN | {"turned": 1}]}, "format.columns.0.turned"),
        ({"columns": [COLUMN, COLUMN]}, "format.columns"),
        ({"columns": [COLUMN | {"name": "sound_speed"}]}, "format.columns"),
        ({"columns": [COLUMN], "time": {"at": 2}}, "format.columns"),
        ({"columns": [COLUMN] * 65}, "format.columns"),
    ],
)  # fmt: skip
def test_an_impossible_log_format_is_rejected_with_its_field(raw: Any, field: str) -> None:
    with pytest.raises(ServiceError) as caught:
        LogFormat.from_json(raw)
    assert caught.value.field == field
    assert caught.value.status == 400
    assert str(caught.value)


JSON = st.recursive(
    st.none() | st.booleans() | st.integers() | st.floats(allow_nan=False) | st.text(max_size=8),
    lambda inner: st.lists(inner, max_size=3) | st.dictionaries(st.text(max_size=8), inner, max_size=3),
    max_leaves=8,
)


@given(
    st.dictionaries(
        st.sampled_from([*PLAIN.as_json()]),
        JSON | st.dictionaries(st.sampled_from(["at", "clock", "form", "pattern", "zone"]), JSON),
    )
)
def test_any_json_is_a_log_format_or_rejected(raw: Any) -> None:
    found, field = PLAIN, "format"
    try:
        found = LogFormat.from_json(raw)
    except ServiceError as error:
        field = error.field
    assert field.startswith("format")
    assert LogFormat.from_json(json.loads(json.dumps(found.as_json()))) == found
