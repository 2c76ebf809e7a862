"""Recording and correcting surveys, and marking segments of their logs."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import asdict, dataclass
from datetime import datetime
from uuid import UUID

from django.db import transaction

from compute.base.messages import at
from surveys.core.errors import Conflict, ServiceError
from surveys.models import (
    Instrument,
    Job,
    Log,
    MeasuringPoint,
    Recomputation,
    Result,
    Setup,
    Survey,
    SurveyData,
    User,
)
from surveys.models.instrument import Kind
from surveys.models.result import Cause
from surveys.models.survey import SurveyChange
from surveys.results.inputs_in_force import results_outdated
from surveys.services.records import chosen_id, required_reason
from surveys.services.results.recomputations import Change, recomputation_start
from surveys.services.surveys.logs import lock_survey


@dataclass(frozen=True, slots=True)
class Segment:
    """A segment of the log that the result is calculated from, and the reason for it."""

    start: datetime
    end: datetime
    reason: str


@dataclass(frozen=True, slots=True)
class SurveyNotes:
    """The notes of a technician on a survey, in SI."""

    started_at: datetime
    ended_at: datetime | None = None
    mounted_spacing_m: float | None = None
    path_angle_rad: float | None = None
    medium_temperature_k: float | None = None
    medium_temperature_source: str = ""
    note: str = ""
    as_entered: Mapping[str, str] | None = None


@transaction.atomic
def survey_record(
    *,
    point: MeasuringPoint,
    setup: Setup,
    job: Job | None,
    instruments: Sequence[Instrument],
    notes: SurveyNotes,
    by: User,
    now: datetime,
    primary_survey: Survey | None = None,
    wanted_id: UUID | None = None,
) -> Survey:
    """Record a survey at a measuring point, with its set-up and the instruments used.

    The instruments include the transducer pair of the set-up. With `primary_survey`, the survey is a further path of another
    survey at this point. Raises ServiceError if the set-up or the primary survey is of another point, the primary survey is a
    further path itself, the job is at another site, or no meter is among the instruments; Conflict if the id is already used.
    """
    if primary_survey is not None:
        _check_first_path(primary_survey, point)
    if job is not None and job.site_id != point.pipe.site_id:
        raise ServiceError("other-site/job", field="job")
    survey = Survey(
        id=chosen_id(Survey, wanted_id),
        measuring_point=point,
        client_id=point.pipe.site.client_id,
        job=job,
        technician=by,
        started_at=notes.started_at,
        recorded_at=now,
        primary_survey=primary_survey,
    )
    survey.full_clean(validate_constraints=False)
    survey.save(force_insert=True)
    _state(_version(survey, setup, notes, by, now), instruments)
    return survey


@dataclass(frozen=True, slots=True)
class SurveyStatement:
    """The data of a survey that a correction replaces."""

    setup: Setup
    instruments: Sequence[Instrument]
    notes: SurveyNotes


@transaction.atomic
def survey_correct(
    *,
    survey: Survey,
    corrects: SurveyData,
    statement: SurveyStatement,
    reason: str,
    by: User,
    now: datetime,
) -> tuple[SurveyData, Recomputation]:
    """Correct the data of a survey; its result is recalculated, the earlier data stay.

    Raises Conflict if the version is no longer in force, ServiceError as `survey_record` does.
    """
    in_force = _lock_stated(survey)
    if corrects.pk != in_force.pk:
        raise Conflict("already-corrected/survey-data", field="corrects")
    data = _version(survey, statement.setup, statement.notes, by, now)
    data.change, data.reason, data.segments = (
        SurveyChange.CORRECTION,
        required_reason(reason),
        in_force.segments,
    )
    data.include_outliers = in_force.include_outliers
    _replace(in_force, now)
    Survey.objects.filter(pk=survey.pk).update(started_at=data.started_at)
    _state(data, statement.instruments)
    return data, _recompute(data, Cause.SURVEY_CORRECTION)


@transaction.atomic
def survey_mark_segments(
    *, survey: Survey, segments: Sequence[Segment], reason: str, by: User, now: datetime
) -> tuple[SurveyData, Recomputation]:
    """Mark the segments of the log that the result is calculated from (none: the whole log); the result is recalculated.

    Raises ServiceError for segments that overlap or lie outside the log, Conflict if the survey has no log yet.
    """
    in_force = _lock_stated(survey)
    log = Log.objects.filter(survey=survey).first()
    if log is None:
        raise Conflict("no-log")
    _check_segments(segments, log)
    marked = [
        {"start": one.start.isoformat(), "end": one.end.isoformat(), "reason": one.reason} for one in segments
    ]
    data = _next_version(in_force, SurveyChange.SEGMENTS, reason, by, now, segments=marked)
    return data, _recompute(data, Cause.SEGMENTS)


@transaction.atomic
def survey_include_outliers(
    *, survey: Survey, included: bool, reason: str, by: User, now: datetime
) -> tuple[SurveyData, Recomputation]:
    """Use the outliers of the log too, or exclude them again; the result is recalculated, the earlier one stays.

    Raises Conflict if the survey has no log yet, or if the outliers are included or excluded already.
    """
    in_force = _lock_stated(survey)
    if not Log.objects.filter(survey=survey).exists():
        raise Conflict("no-log")
    if in_force.include_outliers == included:
        raise Conflict("outliers-unchanged", field="included", included=included)
    data = _next_version(in_force, SurveyChange.OUTLIERS, reason, by, now, include_outliers=included)
    return data, _recompute(data, Cause.OUTLIERS)


def _next_version(
    in_force: SurveyData, change: SurveyChange, reason: str, by: User, now: datetime, **changed: object
) -> SurveyData:
    """Replace the version in force by a copy of it with a change."""
    # Read before the copy has its own id.
    instruments = list(in_force.instruments.all())
    data = SurveyData(
        **{
            f.attname: getattr(in_force, f.attname)
            for f in SurveyData._meta.concrete_fields
            if f.name != "id"
        }
    )
    data.change, data.reason, data.recorded_at, data.recorded_by = change, required_reason(reason), now, by
    for name, value in changed.items():
        setattr(data, name, value)
    _replace(in_force, now)
    _state(data, instruments)
    return data


def _check_first_path(first: Survey, point: MeasuringPoint) -> None:
    if first.measuring_point_id != point.pk:
        raise ServiceError("other-point/primary-survey", field="primary_survey")
    if first.primary_survey_id is not None:
        raise ServiceError(
            "path-of-a-path", field="primary_survey", primary_survey=str(first.primary_survey_id)
        )


def _check_segments(segments: Sequence[Segment], log: Log) -> None:
    ordered = sorted(enumerate(segments), key=lambda numbered: numbered[1].start)
    for place, (number, one) in enumerate(ordered):
        field = f"segments.{number}"
        if one.end <= one.start:
            raise ServiceError(
                "ends-too-early/segment", field=f"{field}.end", start=at(one.start), end=at(one.end)
            )
        if one.end < log.first_reading_at or one.start > log.last_reading_at:
            raise ServiceError(
                "outside-log",
                field=f"{field}.start",
                start=at(one.start),
                end=at(one.end),
                log_start=at(log.first_reading_at),
                log_end=at(log.last_reading_at),
            )
        if place and one.start < ordered[place - 1][1].end:
            raise ServiceError(
                "segments-overlap",
                field=f"{field}.start",
                start=at(one.start),
                previous_end=at(ordered[place - 1][1].end),
            )


def _version(survey: Survey, setup: Setup, notes: SurveyNotes, by: User, now: datetime) -> SurveyData:
    fields = asdict(notes) | {"as_entered": dict(notes.as_entered or {})}
    return SurveyData(survey=survey, setup=setup, recorded_by=by, recorded_at=now, **fields)


def _state(data: SurveyData, instruments: Sequence[Instrument]) -> None:
    """Store a version with the instruments used, including the transducer pair of the set-up."""
    if data.setup.measuring_point_id != data.survey.measuring_point_id:
        raise ServiceError("other-point/setup", field="setup")
    if not any(instrument.kind == Kind.METER for instrument in instruments):
        raise ServiceError("meter-missing", field="instruments")
    data.full_clean(validate_constraints=False)
    data.save(force_insert=True)
    data.instruments.set({data.setup.transducer_data.instrument, *instruments})


def _lock_stated(survey: Survey) -> SurveyData:
    lock_survey(survey)
    return SurveyData.objects.select_related("setup").get(survey=survey, replaced_at__isnull=True)


def _replace(in_force: SurveyData, now: datetime) -> None:
    SurveyData.objects.filter(pk=in_force.pk, replaced_at__isnull=True).update(replaced_at=now)


def _recompute(data: SurveyData, cause: str) -> Recomputation:
    pipe = data.survey.measuring_point.pipe
    change = Change(cause, data.reason, data.recorded_by, data.recorded_at, {"survey_data": data}, pipe)
    return recomputation_start(change, results_outdated(Result.objects.filter(survey=data.survey)))
