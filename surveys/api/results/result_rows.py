"""Results as `ResultOut` declares them, read by five queries however many there are: no object is made for a row."""

from __future__ import annotations

from collections.abc import Collection, Sequence
from typing import Any
from uuid import UUID

from compute.base.units import System
from surveys.api.fields import put_in_units
from surveys.api.row_parts import Lists, in_order, lists, notices_of, shown
from surveys.models import Result

# Shown as they are.
PLAIN = (
    "id", "survey", "cause", "computed_at", "replaces", "replaced_by", "replaced_at", "recomputation", "method_version",
    "survey_data", "pipe_data", "transducer_data", "wall_measurement", "log", "readings_used", "readings_outside", "readings_excluded",
    "effective_readings", "coverage_factor",
    "effective_degrees_of_freedom", "propagation_method", "monte_carlo_trials", "monte_carlo_seed",
    "reynolds", "profile_factor",
)  # fmt: skip
# Column and kind of each quantity.
QUANTITIES = {
    "volume_flow": ("volume_flow_m3_s", "volume_flow"),
    "volume_flow_standard_deviation": ("volume_flow_standard_deviation_m3_s", "volume_flow"),
    "expanded_uncertainty": ("expanded_uncertainty_m3_s", "volume_flow"),
    "combined_standard_uncertainty": ("combined_standard_uncertainty_m3_s", "volume_flow"),
    "transit_time": ("transit_time_s", "transit_time"),
    "time_difference": ("time_difference_s", "time_difference"),
    "mean_velocity": ("mean_velocity_m_s", "speed"),
    "path_velocity": ("path_velocity_m_s", "speed"),
    "measured_sound_speed": ("measured_sound_speed_m_s", "speed"),
    "expected_sound_speed": ("expected_sound_speed_m_s", "speed"),
    "spacing": ("spacing_m", "length"),
    "correlation_time": ("correlation_time_s", "duration"),
}
INTERVAL = {"low": "coverage_low_m3_s", "high": "coverage_high_m3_s"}
DOCUMENTS = ("findings", "budget", "calculation", "change_breakdown")
COLUMNS = (
    *PLAIN, *(column for column, _ in QUANTITIES.values()), *INTERVAL.values(), *DOCUMENTS, "survey_data__segments",
)  # fmt: skip


def result_documents(keys: Sequence[UUID], units: System) -> list[dict[str, Any]]:
    """The results of these keys, in this order."""
    rows = in_order(Result.objects.values(*COLUMNS), keys)
    notices = notices_of({row["survey"] for row in rows})
    newest_first = ("-calibration__calibrated_on", "-calibration_id")
    calibrations = _related(Result.calibrations, "calibration_id", keys, newest_first)
    as_found_corrections = _related(Result.as_found_corrections, "calibration_id", keys, newest_first)
    by_serial = ("instrument__kind", "instrument__serial", "instrument_id")
    error_corrections = _related(Result.error_corrections, "instrument_id", keys, by_serial)
    return [
        _document(row, units)
        | {
            "calibrations": calibrations[row["id"]],
            "error_corrections": error_corrections[row["id"]],
            "as_found_corrections": as_found_corrections[row["id"]],
            "review_notices": notices[row["survey"]],
        }
        for row in rows
    ]


def _related(relation: Any, column: str, results: Collection[UUID], order: tuple[str, ...]) -> Lists:
    """For each result the ids of a relation of many."""
    pairs = relation.through.objects.filter(result__in=results).order_by(*order)
    return lists(pairs.values_list("result_id", column))


def _document(row: dict[str, Any], units: System) -> dict[str, Any]:
    return {
        **{name: row[name] for name in PLAIN},
        **{name: shown(row[column], kind, units) for name, (column, kind) in QUANTITIES.items()},
        "coverage_interval": {
            end: shown(row[column], "volume_flow", units) for end, column in INTERVAL.items()
        },
        **{name: put_in_units(row[name], units) for name in DOCUMENTS},
        "current": row["replaced_at"] is None,
        "segments": row["survey_data__segments"],
    }
