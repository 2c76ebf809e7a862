"""Log formats and columns of logs, as requests and answers describe them."""

from __future__ import annotations

from typing import Any

from drf_spectacular.utils import extend_schema_field
from rest_framework import serializers

from surveys.api.fields import NULL, NUMBER
from surveys.logfiles.columns import KIND_BY_COLUMN
from surveys.logfiles.format import (
    ENCODINGS,
    FORMS,
    MAX_COLUMNS,
    MAX_LINES_SKIPPED,
    MAX_NO_VALUES,
    MAX_TEXT_LENGTH,
    TIME_FORMS,
)

POSITION: list[dict[str, Any]] = [
    {"type": "string", "maxLength": MAX_TEXT_LENGTH, "description": "Text of the header cell."},
    {
        "type": "integer",
        "minimum": 1,
        "maximum": MAX_COLUMNS,
        "description": "Position of the column, from 1.",
    },
]


@extend_schema_field({"oneOf": POSITION})
class ColumnPositionField(serializers.JSONField):
    """Header text of a column, or its position from 1."""


@extend_schema_field({"oneOf": [*POSITION, NULL]})
class OptionalColumnPositionField(ColumnPositionField):
    """Header text of a column, or its position from 1; null for none."""


class FileColumnOut(serializers.Serializer):
    name = serializers.ChoiceField(list(KIND_BY_COLUMN), help_text="Quantity of the column.")
    at = ColumnPositionField(help_text="Header text of the column, or its position from 1.")
    unit = serializers.CharField(
        allow_blank=True, help_text="Unit of the column; empty: the unit in brackets in the header."
    )
    turned = serializers.BooleanField(
        help_text="Whether the logger counts the column with the opposite sign."
    )


class FileTimeOut(serializers.Serializer):
    at = ColumnPositionField(help_text="Header text of the time column, or its position from 1.")
    clock = OptionalColumnPositionField(
        help_text="Column of the time of day, if the time column has the date only; null for none."
    )
    form = serializers.ChoiceField(TIME_FORMS, help_text="Form of the times.")
    pattern = serializers.CharField(
        allow_blank=True, help_text="Pattern of the times for the form `pattern`; otherwise empty."
    )
    zone = serializers.CharField(
        help_text="Time zone of times without an offset: `site`, `UTC`, an offset such as UTC+01:00, or an IANA name."
    )
    starts_at = serializers.CharField(
        allow_blank=True,
        help_text="Start from which elapsed seconds are counted; empty: the start of the survey.",
    )


class FileFormatOut(serializers.Serializer):
    form = serializers.ChoiceField(FORMS, help_text="Form of the file.")
    encoding = serializers.ChoiceField(ENCODINGS, help_text="Character encoding of the file.")
    delimiter = serializers.CharField(
        allow_blank=True,
        max_length=1,
        help_text="Character between the columns; empty: comma, semicolon or tab, as in the header.",
    )
    decimal_mark = serializers.ChoiceField([".", ","], help_text="Decimal mark of the numbers.")
    quote = serializers.CharField(
        allow_blank=True, max_length=1, help_text="Quotation mark around texts; empty for none."
    )
    comment = serializers.CharField(
        allow_blank=True, max_length=3, help_text="Beginning of comment lines; empty for none."
    )
    header_line = serializers.IntegerField(
        min_value=1,
        max_value=MAX_LINES_SKIPPED,
        allow_null=True,
        help_text="Number of the header line, from 1; null without a header.",
    )
    skip_after_header = serializers.IntegerField(
        min_value=0, max_value=MAX_LINES_SKIPPED, help_text="Number of lines to skip after the header."
    )
    no_value = serializers.ListField(
        child=serializers.CharField(allow_blank=True, max_length=MAX_TEXT_LENGTH),
        max_length=MAX_NO_VALUES,
        help_text="Texts that mean no value.",
    )
    time = FileTimeOut(help_text="Column and form of the times.")
    columns = FileColumnOut(
        many=True, help_text="Columns with their quantities and units; empty: the header names the columns."
    )


class FileColumnIn(FileColumnOut):
    unit = serializers.CharField(
        required=False,
        allow_blank=True,
        help_text="Unit of the column. Default: the unit in brackets in the header.",
    )
    turned = serializers.BooleanField(
        required=False, help_text="Whether the logger counts the column with the opposite sign. Default: no."
    )


class FileTimeIn(FileTimeOut):
    def get_fields(self) -> dict[str, Any]:
        return _optional(super().get_fields())


class FileFormatIn(FileFormatOut):
    time = FileTimeIn(help_text="Column and form of the times.")
    columns = FileColumnIn(
        many=True, help_text="Columns with their quantities and units. Default: the header names the columns."
    )

    def get_fields(self) -> dict[str, Any]:
        return _optional(super().get_fields())


def _optional(fields: dict[str, Any]) -> dict[str, Any]:
    for field in fields.values():
        field.required = False
    return fields


@extend_schema_field(FileFormatIn)
class FileFormatRequestField(serializers.JSONField):
    """A log format of a request; `surveys.logfiles.format` reads and checks it."""


@extend_schema_field(FileFormatOut)
class FileFormatField(serializers.DictField):
    """A log format as it is stored."""


class LogColumnOut(serializers.Serializer):
    name = serializers.ChoiceField(list(KIND_BY_COLUMN), help_text="Quantity of the column.")
    unit = serializers.CharField(help_text="Unit of the values in the column.")


@extend_schema_field(
    {
        "type": "object",
        "properties": {"time": {"type": "string", "format": "date-time", "description": "Time in UTC."}},
        "required": ["time"],
        "additionalProperties": {"anyOf": [NUMBER, NULL]},
    }
)
class PreviewRowField(serializers.DictField):
    """A row of a preview: its time, and the value of each column."""
