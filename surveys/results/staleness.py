"""Detection of changes between reading a survey's inputs and storing its result."""

from __future__ import annotations

from typing import Any

from django.db import connection, models
from django.db.models import QuerySet

from surveys.models import Result
from surveys.results.dependencies import DEPENDENCIES, with_record_sets
from surveys.results.inputs_in_force import OWN, ResultInputs

# One statement, not composed by the query builder: it is asked under a lock for every survey, and composing it takes ten times as
# long as answering it. Each dependency states its own condition.
_UNCHANGED = " AND ".join(
    (
        "SELECT count(*) FROM surveys_survey s WHERE s.id = %s AND s.started_at = %s",
        "EXISTS (SELECT 1 FROM surveys_result r WHERE r.id = %s AND r.replaced_at IS NULL)",
        *(one.unchanged for one in DEPENDENCIES if one.unchanged),
    )
)


def current_results() -> QuerySet[Result]:
    """Return the results in force, with the records they are based on."""
    related = ("survey_data__setup", "pipe_data", "transducer_data", *(f"pipe_data__{own}" for own in OWN))
    rows = Result.objects.filter(replaced_at__isnull=True).select_related(*related)
    # Long documents that are not needed.
    rows = rows.defer("budget", "change_breakdown", "survey_data__setup__outcome")
    return with_record_sets(rows)


def inputs_unchanged(inputs: ResultInputs, current: Result) -> bool:
    """Whether a basis is what is in force and a result the current one, as the database has it now.

    Versions of pipe data, calibrations and policies are only ever added, so as many as were read are those that were read. A
    pair's data moves by a correction of the version in force. The start is compared because a survey and what is stated of it
    are read one after the other, and a correction may come in between.
    """
    survey = inputs.survey
    with connection.cursor() as cursor:
        cursor.execute(
            _UNCHANGED,
            [
                _id(survey),
                connection.ops.adapt_datetimefield_value(survey.started_at),
                _id(current),
                *(_sent(value) for one in DEPENDENCIES for value in one.stated(inputs)),
            ],
        )
        return bool(cursor.fetchone()[0])


def _sent(value: object) -> Any:
    return _id(value) if isinstance(value, models.Model) else value


def _id(record: models.Model) -> Any:
    """A record's key as the database at hand stores it."""
    return record._meta.pk.get_db_prep_value(record.pk, connection)
