"""The readings of a log in answers: thinned for a plot, or whole as CSV and Parquet."""

from __future__ import annotations

import math
from collections.abc import Iterator
from tempfile import TemporaryFile
from typing import IO, Any, cast

import numpy as np
from rest_framework import serializers
from rest_framework.exceptions import ValidationError
from rest_framework.request import Request

from surveys.inputs.rejections import rejection
from surveys.logfiles.columns import Column
from surveys.logfiles.downsampling import downsampled_blocks
from surveys.logfiles.export import parquet_write
from surveys.logfiles.times import iso_time
from surveys.models import Log, Result
from surveys.models.survey import MAX_LOG_BYTES
from surveys.pipes.selectors import Block, log_columns

MAX_POINTS = 20_000


class SeriesOut(serializers.Serializer):
    unit = serializers.CharField()
    times = serializers.ListField(child=serializers.DateTimeField())
    values = serializers.ListField(child=serializers.FloatField(allow_null=True))


class OutlierOut(serializers.Serializer):
    row = serializers.IntegerField(
        min_value=0, max_value=MAX_LOG_BYTES, help_text="Number of the reading in the log; the first is 0."
    )
    time = serializers.DateTimeField(help_text="Time of the reading.")
    values = serializers.DictField(
        child=serializers.FloatField(allow_null=True),
        help_text="Values by column, in the units of the columns.",
    )


class ReadingsOut(serializers.Serializer):
    count = serializers.IntegerField(help_text="Number of readings in the segment.")
    columns = serializers.DictField(
        child=SeriesOut(), help_text="Readings by column, downsampled so that peaks remain."
    )
    outliers = OutlierOut(
        many=True, help_text="Outliers of the log by the current result, in this time range."
    )
    outliers_included = serializers.BooleanField(help_text="Whether the current result uses the outliers.")


def requested_moment(request: Request, name: str) -> int | None:
    text = request.query_params.get(name)
    if text is None:
        return None
    try:
        moment = serializers.DateTimeField().run_validation(text)
    except ValidationError as error:
        raise ValidationError({name: error.detail}) from None
    return round(moment.timestamp() * 1e6)


def requested_points(request: Request) -> int:
    text = request.query_params.get("points", "2000")
    if not text.isascii() or not text.isdigit() or not 2 <= int(text[:9]) <= MAX_POINTS:
        raise rejection("points-invalid", field="points", at_least=2, at_most=MAX_POINTS)
    return int(text)


def readings_between(
    log: Log, start: int | None, end: int | None, names: frozenset[str] | None = None
) -> Iterator[Block]:
    """The readings from one time to another, block by block."""
    for times, columns in log_columns(log, names):
        inside = np.ones(len(times), dtype=bool)
        if start is not None:
            inside &= times >= start
        if end is not None:
            inside &= times <= end
        yield times[inside], {name: values[inside] for name, values in columns.items()}


def columns_of(log: Log) -> list[Column]:
    """What a log measured, with units."""
    return [Column(**column) for column in log.columns]


def downsampled_readings(log: Log, start: int | None, end: int | None, points: int) -> dict[str, Any]:
    """Each column with so many points that its peaks stay; a missing value is null."""
    count = sum(len(times) for times, _ in readings_between(log, start, end, frozenset()))
    shown = downsampled_blocks(readings_between(log, start, end), count, points) if count else {}
    empty = np.empty(0, dtype=np.int64), np.empty(0)
    series = {}
    for column in columns_of(log):
        times, values = shown.get(column.name, empty)
        series[column.name] = {
            "unit": column.unit,
            "times": [iso_time(moment) for moment in times.tolist()],
            "values": [None if math.isnan(value) else value for value in values.tolist()],
        }
    return {"count": count, "columns": series}


def outlier_readings(log: Log, result: Result | None, start: int | None, end: int | None) -> dict[str, Any]:
    """Return the outliers of the current result in a time range, and whether the result uses them."""
    runs = result.outliers if result else []
    listed: list[dict[str, Any]] = []
    first = 0
    for times, columns in log_columns(log, None) if runs else ():
        for low, high in runs:
            for at in range(max(low - first, 0), min(high - first + 1, len(times))):
                if (start is None or times[at] >= start) and (end is None or times[at] <= end):
                    values = {name: float(column[at]) for name, column in columns.items()}
                    listed.append(
                        {
                            "row": first + at,
                            "time": iso_time(int(times[at])),
                            "values": {n: None if math.isnan(v) else v for n, v in values.items()},
                        }
                    )
        first += len(times)
    return {"outliers": listed, "outliers_included": bool(result and not result.readings_excluded and runs)}


def parquet_file(log: Log, start: int | None, end: int | None) -> IO[bytes]:
    """The readings as a Parquet file on disk, which vanishes when it is closed."""
    file = cast(IO[bytes], TemporaryFile())  # noqa: SIM115 - the answer closes it once it is sent
    parquet_write(file, columns_of(log), readings_between(log, start, end))
    file.seek(0)
    return file
