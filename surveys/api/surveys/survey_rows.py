"""Surveys as `SurveyOut` declares them, read by five queries however many there are: no object is made for a row."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any
from uuid import UUID

from django.db.models import FilteredRelation, Q

from compute.base.units import System
from surveys.api.row_parts import in_order, lists, notices_of, shown
from surveys.models import Survey, SurveyData

COLUMNS = (
    "id", "measuring_point", "job", "technician__username", "started_at", "recorded_at",
    "primary_survey", "primary_survey__paths_combination__id", "paths_combination__id",
    "stated_now__id", "stated_now__setup", "stated_now__ended_at", "stated_now__mounted_spacing_m",
    "stated_now__path_angle_rad", "stated_now__medium_temperature_k", "stated_now__medium_temperature_source",
    "stated_now__segments", "stated_now__include_outliers", "stated_now__note",
    "log__sha256", "log__rows_accepted", "log__rows_rejected",
    "current__id", "current__volume_flow_m3_s", "current__expanded_uncertainty_m3_s", "current__computed_at",
)  # fmt: skip


def survey_documents(keys: Sequence[UUID], units: System) -> list[dict[str, Any]]:
    """The surveys of these keys, in this order."""
    surveys = Survey.objects.annotate(
        stated_now=FilteredRelation("data", condition=Q(data__replaced_at__isnull=True)),
        current=FilteredRelation("results", condition=Q(results__replaced_at__isnull=True)),
    )
    rows = in_order(surveys.values(*COLUMNS), keys)
    used = SurveyData.instruments.through.objects.filter(
        surveydata__in=[row["stated_now__id"] for row in rows]
    ).order_by("instrument__kind", "instrument__serial", "instrument_id")
    instruments = lists(used.values_list("surveydata_id", "instrument_id"))
    further = Survey.objects.filter(primary_survey__in=keys).order_by("recorded_at", "id")
    paths, notices = lists(further.values_list("primary_survey", "id")), notices_of(keys)
    return [
        _document(row, units)
        | {
            "instruments": instruments[row["stated_now__id"]],
            "paths": paths[row["id"]],
            "under_review": notices[row["id"]],
        }
        for row in rows
    ]


def _document(row: dict[str, Any], units: System) -> dict[str, Any]:
    first = "primary_survey__" if row["primary_survey"] else ""
    return {
        "id": row["id"],
        "measuring_point": row["measuring_point"],
        "data": row["stated_now__id"],
        "setup": row["stated_now__setup"],
        "job": row["job"],
        "technician": row["technician__username"],
        "started_at": row["started_at"],
        "ended_at": row["stated_now__ended_at"],
        "mounted_spacing": shown(row["stated_now__mounted_spacing_m"], "length", units),
        "primary_survey": row["primary_survey"],
        "path_angle": shown(row["stated_now__path_angle_rad"], "angle", units),
        "combination": row[f"{first}paths_combination__id"],
        "medium_temperature": shown(row["stated_now__medium_temperature_k"], "temperature", units),
        "medium_temperature_source": row["stated_now__medium_temperature_source"],
        "segments": row["stated_now__segments"],
        "include_outliers": row["stated_now__include_outliers"],
        "note": row["stated_now__note"],
        "recorded_at": row["recorded_at"],
        "log": _log(row),
        "result": _result(row, units),
    }


def _log(row: dict[str, Any]) -> dict[str, Any] | None:
    if row["log__sha256"] is None:
        return None
    return {name: row[f"log__{name}"] for name in ("sha256", "rows_accepted", "rows_rejected")}


def _result(row: dict[str, Any], units: System) -> dict[str, Any] | None:
    if row["current__id"] is None:
        return None
    return {
        "id": row["current__id"],
        "volume_flow": shown(row["current__volume_flow_m3_s"], "volume_flow", units),
        "expanded_uncertainty": shown(row["current__expanded_uncertainty_m3_s"], "volume_flow", units),
        "computed_at": row["current__computed_at"],
    }
