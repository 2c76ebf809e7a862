"""Import of the log of a survey, and the first result calculated from it."""

from __future__ import annotations

from dataclasses import dataclass, replace
from datetime import datetime
from typing import IO

from django.conf import settings
from django.db import transaction

from compute.base.messages import Finding, at, finding
from surveys.core.errors import Conflict
from surveys.core.stored_quantities import findings_json
from surveys.logfiles.format import PLAIN
from surveys.logfiles.format import LogFormat as FileFormat
from surveys.logfiles.importing import Intake, import_file
from surveys.models import Instrument, Log, LogFilePart, LogFormat, Pipe, ReadingBlock, Survey, User
from surveys.models.result import Cause
from surveys.results.inputs_in_force import inputs_in_force, survey_with_inputs
from surveys.results.reduction import LogToReduce, reading_interval, result_store, survey_reduce
from surveys.services.fleet.calibrations import instruments_lock
from surveys.services.fleet.out_of_tolerance_reviews import reviews_extend
from surveys.services.results.combinations import combinations_extend

# Parts in one INSERT; each is about a megabyte.
ROWS_PER_BATCH = 16


@dataclass(frozen=True, slots=True)
class Upload:
    """An uploaded file, its name and its log format; without one, the plain log format."""

    file: IO[bytes]
    name: str = ""
    log_format: LogFormat | None = None


def log_import(*, survey: Survey, upload: Upload, by: User, now: datetime) -> tuple[Log, bool]:
    """Import the log of a survey and calculate the first result; the file is stored unchanged.

    Returns the log, and whether it is new: the same file again changes nothing. Raises Conflict if the survey already has
    another log, ServiceError if the file cannot be used.
    """
    zone = survey.measuring_point.pipe.site.zone
    log_format = upload.log_format.as_read if upload.log_format else PLAIN
    intake = import_file(upload.file, zone, settings.LOG_UPLOAD_MAX_BYTES, log_format, survey.started_at)
    if known := Log.objects.filter(survey=survey).first():
        return _same_or_conflict(known, intake), False
    log = _log(survey, upload, log_format, intake, by, now)
    # The transaction only stores. If an input of the survey has changed since it was read, the log is reduced again
    # inside the transaction, where the inputs are locked.
    draft = survey_reduce(inputs_in_force(survey_with_inputs(survey.pk)), _log_to_reduce(log, intake))
    with transaction.atomic():
        lock_survey(survey)
        if known := Log.objects.filter(survey=survey).first():
            return _same_or_conflict(known, intake), False
        _store(log, intake)
        inputs = inputs_in_force(survey_with_inputs(survey.pk))
        if inputs.key != draft.inputs.key:
            draft = survey_reduce(inputs)
        result = result_store(replace(draft, inputs=inputs), cause=Cause.LOG_IMPORT, now=now)
        reviews_extend(result, now=now)
        combinations_extend(survey, by=by, now=now)
    return log, True


def lock_survey(survey: Survey) -> None:
    """Lock the survey, its pipe and its instruments against corrections until the caller's transaction ends.

    Corrections take the same locks. The locks exclude the key, so that records that only refer to a locked row are stored
    without waiting: they would wait in another order, and deadlock.
    """
    Pipe.objects.select_for_update(no_key=True).get(pk=survey.measuring_point.pipe_id)
    used = Instrument.objects.filter(
        survey_data__survey=survey, survey_data__replaced_at__isnull=True
    ).values_list("pk", flat=True)
    instruments_lock(used)


def _same_or_conflict(log: Log, intake: Intake) -> Log:
    if log.sha256 != intake.sha256:
        raise Conflict("log-exists", field="file", received_at=at(log.received_at))
    return log


def _log(
    survey: Survey, upload: Upload, log_format: FileFormat, intake: Intake, by: User, now: datetime
) -> Log:
    return Log(
        survey=survey,
        file_name=upload.name[:200],
        size_bytes=intake.size_bytes,
        sha256=intake.sha256,
        format=log_format.as_json(),
        log_format=upload.log_format,
        columns=[column.as_json() for column in intake.columns],
        ignored_columns=list(intake.ignored_columns),
        rows_accepted=intake.rows_accepted,
        rows_rejected=intake.rows_rejected,
        rejected_rows=[row.as_json() for row in intake.rejected_rows],
        findings=findings_json([*intake.findings, *_imported_before(intake)]),
        first_reading_at=intake.first_reading_at,
        last_reading_at=intake.last_reading_at,
        received_at=now,
        received_by=by,
    )


def _imported_before(intake: Intake) -> list[Finding]:
    """Warn if the same file was imported for another survey. That survey is not named: it may belong to another client."""
    before = Log.objects.filter(sha256=intake.sha256).order_by("received_at").first()
    if before is None:
        return []
    return [finding("log-duplicate", "warning", "file", received_at=at(before.received_at))]


def _log_to_reduce(log: Log, intake: Intake) -> LogToReduce:
    """Return a log that is not stored yet as input of the reduction."""
    return LogToReduce(
        columns=intake.columns,
        rows_rejected=log.rows_rejected,
        findings=log.findings,
        reading_interval=reading_interval(log),
        contents=lambda: (content for _, content in intake.blocks),
    )


def _store(log: Log, intake: Intake) -> None:
    log.save(force_insert=True)
    for parts in intake.file_parts.batches(ROWS_PER_BATCH):
        LogFilePart.objects.bulk_create(
            [LogFilePart(log=log, sequence=n, content=content) for n, content in parts]
        )
    for blocks in intake.blocks.batches(ROWS_PER_BATCH):
        ReadingBlock.objects.bulk_create(
            [
                ReadingBlock(log=log, sequence=n, count=count, content=content)
                for n, (count, content) in blocks
            ]
        )
