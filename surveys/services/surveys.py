"""Surveys: recorded, their log taken in, reduced to a first result."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import asdict, dataclass
from datetime import datetime
from typing import IO

from django.conf import settings
from django.db import transaction

from surveys.errors import Conflict, ServiceError
from surveys.models import (
    Instrument,
    Job,
    Log,
    LogFilePart,
    MeasuringPoint,
    Pipe,
    ReadingBlock,
    Setup,
    Survey,
    User,
)
from surveys.models.instrument import Kind
from surveys.models.result import Cause
from surveys.readings.intake import Intake, take_in
from surveys.recompute import survey_with_all, valid_data
from surveys.reduction import result_store, survey_reduce


@dataclass(frozen=True, slots=True)
class SurveyNotes:
    """What a technician writes down of a survey; SI values."""

    started_at: datetime
    ended_at: datetime | None = None
    mounted_spacing_m: float | None = None
    medium_temperature_k: float | None = None
    medium_temperature_known: str = ""
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
) -> Survey:
    """A new survey at a point, with the set-up it was mounted by and the instruments used.

    The set-up's transducer pair counts among them. Raises ServiceError if the set-up is of another point, the
    job of another site, or no meter is among the instruments.
    """
    if setup.measuring_point_id != point.id:
        raise ServiceError("That set-up is of another measuring point.", code="other-point", field="setup")
    if job is not None and job.site_id != point.pipe.site_id:
        raise ServiceError("That job is at another site.", code="other-site", field="job")
    if not any(instrument.kind == Kind.METER for instrument in instruments):
        raise ServiceError("Name the meter that was used.", code="meter-missing", field="instruments")
    fields = asdict(notes) | {"as_entered": dict(notes.as_entered or {})}
    survey = Survey(measuring_point=point, setup=setup, job=job, technician=by, recorded_at=now, **fields)
    survey.full_clean(validate_constraints=False)
    survey.save(force_insert=True)
    survey.instruments.set({setup.transducer_data.instrument, *instruments})
    return survey


def log_take_in(
    *, survey: Survey, file: IO[bytes], file_name: str, by: User, now: datetime
) -> tuple[Log, bool]:
    """Take in a survey's log and reduce it to the first result; the file is kept as it came.

    Returns the log, and whether it is new: the same file again is recognised and changes nothing. Raises
    Conflict if the survey has another log already, ServiceError if the file cannot serve.
    """
    zone = survey.measuring_point.pipe.site.zone
    intake = take_in(file, zone, settings.LOG_UPLOAD_MAX_BYTES)
    if known := Log.objects.filter(survey=survey).first():
        return _same_or_conflict(known, intake), False
    # Everything is read and packed by now: the transaction only stores, and reduces what was stored.
    with transaction.atomic():
        Pipe.objects.select_for_update().get(pk=survey.measuring_point.pipe_id)
        if known := Log.objects.filter(survey=survey).first():
            return _same_or_conflict(known, intake), False
        log = _store(survey, intake, file_name, by, now)
        survey = survey_with_all(survey.pk)
        result_store(survey_reduce(survey, valid_data(survey)), cause=Cause.REDUCTION, now=now)
    return log, True


def _same_or_conflict(log: Log, intake: Intake) -> Log:
    if log.sha256 != intake.sha256:
        raise Conflict(
            "This survey has another log already; record a new survey for another file.",
            code="log-exists",
            field="file",
        )
    return log


def _store(survey: Survey, intake: Intake, file_name: str, by: User, now: datetime) -> Log:
    log = Log(
        survey=survey,
        file_name=file_name[:200],
        size_bytes=intake.size_bytes,
        sha256=intake.sha256,
        columns=[column.as_json() for column in intake.columns],
        unread_columns=list(intake.unread_columns),
        rows_taken=intake.rows_taken,
        rows_refused=intake.rows_refused,
        refusals=[asdict(refusal) for refusal in intake.refusals],
        first_reading_at=intake.first_reading_at,
        last_reading_at=intake.last_reading_at,
        received_at=now,
        received_by=by,
    )
    log.save(force_insert=True)
    LogFilePart.objects.bulk_create(
        [LogFilePart(log=log, sequence=n, content=content) for n, content in enumerate(intake.file_parts)],
        batch_size=16,
    )
    ReadingBlock.objects.bulk_create(
        [
            ReadingBlock(log=log, sequence=n, count=count, content=content)
            for n, (count, content) in enumerate(intake.blocks)
        ],
        batch_size=16,
    )
    return log
