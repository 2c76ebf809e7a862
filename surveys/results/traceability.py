"""From a result back to everything it rests on: file, set-up, pipe, instruments, certificates, policies, method, people.

An ordered list of steps, each a record with who made it, when, and its facts; the API answers it and a page shows it.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from dataclasses import dataclass, field
from datetime import date, datetime
from typing import Any

from django.db.models import Prefetch

from compute.results.survey import METHODS
from surveys.calibration.affected_results import review_notice, reviews_told
from surveys.calibration.policies import error_correction_policy_of
from surveys.core.stored_quantities import quantity
from surveys.models import Calibration, Instrument, Result, ReviewedSurvey
from surveys.pipes.selectors import survey_date
from surveys.results.inputs_in_force import error_correction_policies


@dataclass(frozen=True, slots=True)
class Step:
    """One record on the way back. Facts are text, numbers, dates, or SI quantities; `reason` is what was given with it."""

    step: str
    title: str
    record: str
    by: str = ""
    at: datetime | None = None
    reason: str = ""
    facts: Mapping[str, Any] = field(default_factory=dict)


def traceable_results() -> Any:
    """Results with all that `traceability_steps` reads, in a constant number of queries."""
    related = (
        "survey__measuring_point__pipe__site__client", "survey__technician", "log__received_by", "log__log_format",
        "survey_data__recorded_by", "survey_data__setup__calculated_by", "survey_data__setup__transducer_data__instrument",
        "pipe_data__recorded_by", "transducer_data__recorded_by", "transducer_data__instrument", "wall_measurement__taken_by",
        "wall_measurement__gauge", "recomputation__requested_by", "replaces", "replaced_by",
    )  # fmt: skip
    certificates = Calibration.objects.select_related("recorded_by", "certificate_file", "instrument")
    reviews = ReviewedSurvey.objects.select_related("review__instrument", "decided_by")
    return Result.objects.select_related(*related).prefetch_related(
        Prefetch("calibrations", certificates),
        Prefetch("as_found_corrections", certificates),
        "error_corrections",
        "survey_data__instruments",
        Prefetch("survey__out_of_tolerance_reviews", reviews),
        "survey__results",
    )


def traceability_steps(result: Result) -> list[Step]:
    """Every step from a result back to what it rests on, nearest first."""
    return [
        _result(result),
        _method(result),
        *_recomputation(result),
        _stated(result),
        _log(result),
        _setup(result),
        _pipe(result),
        *_wall_measurement(result),
        _pair(result),
        *_instruments(result),
        *_reviews(result),
        *_earlier(result),
    ]


def _result(result: Result) -> Step:
    point = result.survey.measuring_point
    return Step(
        "result",
        f"{point.pipe.site.name}, {point.pipe.name}, {point.name}",
        str(result.pk),
        at=result.computed_at,
        facts={
            "client": point.pipe.site.client.name,
            "volume flow": quantity(result.volume_flow_m3_s, "volume_flow"),
            "expanded uncertainty": quantity(result.expanded_uncertainty_m3_s, "volume_flow"),
            "coverage factor": round(result.coverage_factor, 2),
            "readings used": result.readings_used,
            "cause": result.get_cause_display(),
            "current": "yes" if result.replaced_at is None else f"no, replaced by {result.replaced_by.pk}",
        },
    )


def _method(result: Result) -> Step:
    method = next((one for one in METHODS if one.version == result.method_version), None)
    facts = {"since": method.since, "change": method.change} if method else {}
    return Step(
        "method",
        f"Calculation method, version {result.method_version}",
        result.method_version,
        facts=facts,
    )


def _recomputation(result: Result) -> Iterator[Step]:
    run = result.recomputation
    if run is not None:
        yield Step(
            "recomputation", run.get_cause_display().capitalize(), str(run.pk), run.requested_by.username, run.requested_at, run.reason
        )  # fmt: skip


def _stated(result: Result) -> Step:
    stated, survey = result.survey_data, result.survey
    facts: dict[str, Any] = {
        "surveyed by": survey.technician.username,
        "started": stated.started_at,
        "date at the site": survey_date(survey),
    }
    if stated.mounted_spacing_m is not None:
        facts["mounted spacing"] = quantity(stated.mounted_spacing_m, "length")
    if stated.medium_temperature_k is not None:
        facts["medium temperature"] = quantity(stated.medium_temperature_k, "temperature")
    for one in stated.segments:
        facts[f"segment from {one['start']}"] = f"to {one['end']}: {one['reason']}"
    return Step(
        "survey", f"Survey, {stated.get_change_display()}", str(survey.pk), stated.recorded_by.username, stated.recorded_at,
        stated.reason, facts,
    )  # fmt: skip


def _log(result: Result) -> Step:
    log = result.log
    facts = {
        "file": log.file_name or "no name",
        "SHA-256": log.sha256,
        "size in bytes": log.size_bytes,
        "rows accepted": log.rows_accepted,
        "rows rejected": log.rows_rejected,
        "first reading": log.first_reading_at,
        "last reading": log.last_reading_at,
    }
    if log.log_format is not None:
        facts["log format"] = log.log_format.name
    return Step(
        "readings",
        "Log file as received",
        str(log.pk),
        log.received_by.username,
        log.received_at,
        facts=facts,
    )


def _setup(result: Result) -> Step:
    setup = result.survey_data.setup
    facts = {
        "traverses": setup.traverses,
        "required spacing": quantity(setup.spacing_m, "length"),
        "pipe data used": str(setup.pipe_data_id),
    }
    return Step(
        "set-up",
        "Transducer set-up",
        str(setup.pk),
        setup.calculated_by.username,
        setup.calculated_at,
        facts=facts,
    )


def _pipe(result: Result) -> Step:
    data = result.pipe_data
    facts = {
        "outer diameter": quantity(data.outer_diameter_m, "length"),
        "wall thickness": quantity(data.wall_thickness_m, "length"),
        "material": data.material or "defined by sound speeds",
        "medium": data.medium or "defined by entered properties",
        "valid from": data.valid_from or "installation of the pipe",
        "as entered": ", ".join(f"{name} {text}" for name, text in sorted(data.as_entered.items())) or "-",
    }
    if data.corrects_id:
        facts["corrects"] = str(data.corrects_id)
    return Step(
        "pipe data", f"Pipe data, {data.get_change_display()}", str(data.pk), data.recorded_by.username, data.recorded_at,
        data.reason, facts,
    )  # fmt: skip


def _wall_measurement(result: Result) -> Iterator[Step]:
    wall_measurement = result.wall_measurement
    if wall_measurement is not None:
        facts = {
            "thickness gauge": str(wall_measurement.gauge),
            "mean": quantity(wall_measurement.mean_m, "length"),
            "standard uncertainty": quantity(wall_measurement.standard_uncertainty_m, "length"),
            "readings": len(wall_measurement.readings_m),
        }
        yield Step(
            "wall thickness measurement",
            "Wall thickness measurement",
            str(wall_measurement.pk),
            wall_measurement.taken_by.username,
            wall_measurement.taken_at,
            facts=facts,
        )


def _pair(result: Result) -> Step:
    data = result.transducer_data
    facts = {
        "pair": str(data.instrument),
        "frequency": quantity(data.frequency_hz, "frequency"),
        "wedge sound speed": quantity(data.wedge_sound_speed_m_s, "speed"),
        "wedge angle": quantity(data.wedge_angle_rad, "angle"),
    }
    return Step(
        "transducer data", "Transducer pair data", str(data.pk), data.recorded_by.username, data.recorded_at, data.reason, facts
    )  # fmt: skip


def _instruments(result: Result) -> Iterator[Step]:
    """Each instrument with the certificate in force on the day, or without one, and what was decided of its error curve."""
    in_force = {one.instrument_id: one for one in result.calibrations.all()}
    applied = {one.pk for one in result.error_corrections.all()}
    # Of the policies those that were there when it was computed.
    policies = [one for one in error_correction_policies() if one.recorded_at <= result.computed_at]
    day = survey_date(result.survey)
    for instrument in result.survey_data.instruments.all():
        calibration = in_force.get(instrument.pk)
        if calibration is None:
            yield Step("instrument", f"{instrument}: no certificate on the survey date", str(instrument.pk))
            continue
        facts = _certificate(calibration, day)
        facts["error correction"] = "applied" if instrument.pk in applied else "not applied"
        policy = error_correction_policy_of(policies, instrument, day)
        facts["correction policy"] = str(policy.pk) if policy else "no policy"
        yield _calibrated(instrument, calibration, facts)
    for calibration in result.as_found_corrections.all():
        facts = _certificate(calibration, day) | {
            "error correction": "as found, applied by decision of the office"
        }
        yield _calibrated(calibration.instrument, calibration, facts)


def _calibrated(instrument: Instrument, calibration: Calibration, facts: dict[str, Any]) -> Step:
    return Step(
        "instrument", str(instrument), str(calibration.pk), calibration.recorded_by.username, calibration.recorded_at, facts=facts
    )  # fmt: skip


def _certificate(calibration: Calibration, day: date) -> dict[str, Any]:
    file = getattr(calibration, "certificate_file", None)
    return {
        "certificate": calibration.certificate,
        "laboratory": calibration.laboratory,
        "accreditation": calibration.accreditation or "not entered",
        "calibrated on": calibration.calibrated_on,
        "due on": calibration.due_on,
        "valid on the survey date": "yes" if calibration.due_on >= day else "no",
        "file SHA-256": file.sha256 if file else "no file attached",
    }


def _reviews(result: Result) -> Iterator[Step]:
    for one in reviews_told(result.survey.out_of_tolerance_reviews.all()):
        by = one.decided_by.username if one.decided_by else ""
        yield Step("review", review_notice(one).sentence, str(one.review_id), by, one.decided_at, one.reason)


def _earlier(result: Result) -> Iterator[Step]:
    """The results before this one, the latest first."""
    by_id = {one.pk: one for one in result.survey.results.all()}
    before = result.replaces_id
    while before is not None:
        one = by_id[before]
        facts = {
            "volume flow": quantity(one.volume_flow_m3_s, "volume_flow"),
            "cause": one.get_cause_display(),
        }
        yield Step("earlier result", "Replaced result", str(one.pk), at=one.computed_at, facts=facts)
        before = one.replaces_id
