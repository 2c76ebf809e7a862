"""Whether anything moved between reading what a survey rests on and storing what was made of it."""

from __future__ import annotations

from django.db.models import Count, Exists, OuterRef, QuerySet, Subquery, Value
from django.db.models.functions import Coalesce

from surveys.basis import OWN, Basis
from surveys.models import Calibration, PipeData, Result, Survey, SurveyData, TransducerData


def current_results() -> QuerySet[Result]:
    """The results nothing has replaced, with what they rest on."""
    related = ("survey_data__setup", "pipe_data", "transducer_data", *(f"pipe_data__{own}" for own in OWN))
    rows = Result.objects.filter(replaced_at__isnull=True).select_related(*related)
    return rows.prefetch_related("calibrations")


def standing_read(basis: Basis, current: Result) -> tuple[object, ...]:
    """What a basis and a current result were made out from, to hold against `standing_now`."""
    survey = basis.survey
    return (
        survey.started_at,
        basis.survey_data.pk,
        current.pk,
        len(survey.measuring_point.pipe.data.all()),
        sum(len(instrument.calibrations.all()) for instrument, _ in basis.calibrations),
        False,
    )


def standing_now(basis: Basis) -> tuple[object, ...]:
    """The same as the database has it now, in one query: equal means that nothing moved since it was read.

    Versions of pipe data and calibrations are only ever added, so as many as were read are those that were read. A
    pair's data moves by a correction of the version in force. The start is compared because a survey and what is stated of it
    are read one after the other, and a correction may come in between.
    """
    stated = SurveyData.objects.filter(survey=OuterRef("pk"), replaced_at__isnull=True)
    current = Result.objects.filter(survey=OuterRef("pk"), replaced_at__isnull=True)
    versions = PipeData.objects.filter(pipe=basis.survey.measuring_point.pipe_id)
    calibrations = Calibration.objects.filter(instrument__in=[i.pk for i, _ in basis.calibrations])
    return tuple(
        Survey.objects.filter(pk=basis.survey.pk)
        .values_list(
            "started_at",
            Subquery(stated.order_by().values("pk")[:1]),
            Subquery(current.order_by().values("pk")[:1]),
            _count(versions),
            _count(calibrations),
            Exists(TransducerData.objects.filter(corrects=basis.transducer_data.pk)),
        )
        .get()
    )


def _count(rows: QuerySet[PipeData] | QuerySet[Calibration]) -> Coalesce:
    # Over all rows together: grouped by what is the same for all of them.
    counted = rows.order_by().annotate(all=Value(1)).values("all").annotate(count=Count("pk")).values("count")
    return Coalesce(Subquery(counted), 0)
