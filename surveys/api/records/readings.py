"""The readings of a log in answers: thinned for a plot, or whole as CSV and Parquet."""

from __future__ import annotations

import csv
import io
from collections.abc import Iterator
from typing import Any

import numpy as np
from rest_framework import serializers
from rest_framework.exceptions import ValidationError
from rest_framework.renderers import BaseRenderer, JSONRenderer
from rest_framework.request import Request

from surveys.models import Log
from surveys.readings.thinning import thinned
from surveys.readings.times import iso_time
from surveys.selectors import log_columns

MOST_POINTS = 20_000


class CSVRenderer(BaseRenderer):
    """Names the format; the view streams the rows itself."""

    media_type = "text/csv"
    format = "csv"
    charset = "utf-8"

    def render(
        self, data: Any, accepted_media_type: str | None = None, renderer_context: Any = None
    ) -> bytes:
        return JSONRenderer().render(data)


class SeriesOut(serializers.Serializer):
    unit = serializers.CharField()
    times = serializers.ListField(child=serializers.DateTimeField())
    values = serializers.ListField(child=serializers.FloatField())


class ReadingsOut(serializers.Serializer):
    count = serializers.IntegerField(help_text="Readings in the stretch.")
    columns = serializers.DictField(child=SeriesOut(), help_text="Each thinned so that its peaks stay.")


def moment_asked(request: Request, name: str) -> int | None:
    text = request.query_params.get(name)
    if text is None:
        return None
    try:
        moment = serializers.DateTimeField().run_validation(text)
    except ValidationError as error:
        raise ValidationError({name: error.detail}) from None
    return round(moment.timestamp() * 1e6)


def points_asked(request: Request) -> int:
    text = request.query_params.get("points", "2000")
    if not text.isascii() or not text.isdigit() or not 2 <= int(text[:9]) <= MOST_POINTS:
        raise ValidationError(
            {"points": f"Write a whole number from 2 to {MOST_POINTS}."}, code="points-invalid"
        )
    return int(text)


def _stretch(times: Any, start: int | None, end: int | None) -> Any:
    inside = np.ones(len(times), dtype=bool)
    if start is not None:
        inside &= times >= start
    if end is not None:
        inside &= times <= end
    return inside


def thinned_readings(log: Log, start: int | None, end: int | None, points: int) -> dict[str, Any]:
    all_times, all_columns = [], []
    for times, columns in log_columns(log):
        inside = _stretch(times, start, end)
        all_times.append(times[inside])
        all_columns.append({name: values[inside] for name, values in columns.items()})
    times = np.concatenate(all_times)
    series: dict[str, Any] = {}
    for column in log.columns:
        values = np.concatenate([block[column["name"]] for block in all_columns])
        shown = thinned(values, points)
        series[column["name"]] = {
            "unit": column["unit"],
            "times": [iso_time(moment) for moment in times[shown].tolist()],
            "values": values[shown].tolist(),
        }
    return {"count": len(times), "columns": series}


def csv_lines(log: Log, start: int | None, end: int | None) -> Iterator[str]:
    names = [column["name"] for column in log.columns]
    yield _line(["time", *(f"{column['name']} [{column['unit']}]" for column in log.columns)])
    for times, columns in log_columns(log):
        inside = _stretch(times, start, end)
        rows = zip(times[inside].tolist(), *(columns[name][inside].tolist() for name in names), strict=True)
        yield "".join(_line([iso_time(moment), *map(repr, values)]) for moment, *values in rows)


def _line(cells: list[str]) -> str:
    buffer = io.StringIO()
    csv.writer(buffer, lineterminator="\n").writerow(cells)
    return buffer.getvalue()
