"""Whether anything moved between reading what a survey rests on and storing what was made of it."""

from __future__ import annotations

from typing import Any

from django.db import connection, models
from django.db.models import QuerySet

from surveys.models import Result
from surveys.results.inputs_in_force import OWN, ResultInputs

# One statement, and not by the framework's query builder: it is asked under a lock for every survey, and building it takes
# ten times as long as answering it.
_NOTHING_MOVED = """
    SELECT count(*) FROM surveys_survey s
    WHERE s.id = %s AND s.started_at = %s
    AND EXISTS (SELECT 1 FROM surveys_surveydata d WHERE d.id = %s AND d.replaced_at IS NULL)
    AND EXISTS (SELECT 1 FROM surveys_result r WHERE r.id = %s AND r.replaced_at IS NULL)
    AND NOT EXISTS (SELECT 1 FROM surveys_transducerdata t WHERE t.corrects_id = %s)
    AND %s = (SELECT count(*) FROM surveys_pipedata p WHERE p.pipe_id = %s)
    AND %s = (
        SELECT count(*) FROM surveys_calibration c JOIN surveys_surveydata_instruments u ON u.instrument_id = c.instrument_id
        WHERE u.surveydata_id = %s)
    AND %s = (SELECT count(*) FROM surveys_errorcorrectionpolicy)
    AND %s = (
        SELECT count(*) FROM surveys_reviewedsurvey v JOIN surveys_outoftolerancereview t ON t.id = v.review_id
        WHERE v.survey_id = s.id AND v.state = 'corrected'
        AND NOT EXISTS (SELECT 1 FROM surveys_calibration k WHERE k.corrects_id = t.calibration_id))
"""


def current_results() -> QuerySet[Result]:
    """The results nothing has replaced, with what they rest on."""
    related = ("survey_data__setup", "pipe_data", "transducer_data", *(f"pipe_data__{own}" for own in OWN))
    rows = Result.objects.filter(replaced_at__isnull=True).select_related(*related)
    # Long documents nobody asks for here.
    rows = rows.defer("budget", "change_breakdown", "survey_data__setup__outcome")
    return rows.prefetch_related("calibrations", "corrected_for", "as_found")


def inputs_unchanged(inputs: ResultInputs, current: Result) -> bool:
    """Whether a basis is what is in force and a result the current one, as the database has it now.

    Versions of pipe data, calibrations and policies are only ever added, so as many as were read are those that were read. A
    pair's data moves by a correction of the version in force. The start is compared because a survey and what is stated of it
    are read one after the other, and a correction may come in between.
    """
    survey = inputs.survey
    with connection.cursor() as cursor:
        cursor.execute(
            _NOTHING_MOVED,
            [
                _id(survey),
                connection.ops.adapt_datetimefield_value(survey.started_at),
                _id(inputs.survey_data),
                _id(current),
                _id(inputs.transducer_data),
                len(survey.measuring_point.pipe.data.all()),
                _id(survey.measuring_point.pipe),
                sum(len(instrument.calibrations.all()) for instrument, _ in inputs.calibrations),
                _id(inputs.survey_data),
                inputs.error_correction_policies,
                len(inputs.as_found),
            ],
        )
        return bool(cursor.fetchone()[0])


def _id(record: models.Model) -> Any:
    """A record's key as the database at hand stores it."""
    return record._meta.pk.get_db_prep_value(record.pk, connection)
