"""What a survey's result should rest on now, and whether a given result does.

One question decides every recomputation, whatever caused it: is what a result was computed from still what is in force?
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from dataclasses import dataclass
from itertools import islice
from typing import TypeVar
from uuid import UUID

from django.db.models import Prefetch, QuerySet

from compute import survey as method
from surveys.models import Calibration, Instrument, PipeData, Result, Survey, SurveyData, TransducerData
from surveys.selectors import calibration_in_force, pipe_data_valid, survey_date

T = TypeVar("T")
AT_ONCE = 1000
# What `basis_in_force` reads, for many surveys in as many queries as for one.
_RELATED = ("measuring_point__pipe__site__client", "log")
_DATA_RELATED = (
    "setup__pipe_data",
    "setup__transducer_data__instrument",
    "setup__transducer_data__corrected_by",
)


@dataclass(frozen=True, slots=True)
class Basis:
    """The records a survey's result rests on; `calibrations` by instrument, None where there was none by that day."""

    survey: Survey
    survey_data: SurveyData
    pipe_data: PipeData
    transducer_data: TransducerData
    calibrations: tuple[tuple[Instrument, Calibration | None], ...]
    method_version: str

    @property
    def key(self) -> tuple[object, ...]:
        """Equal for two bases that name the same records."""
        return (
            self.survey_data.pk,
            self.pipe_data.pk,
            self.transducer_data.pk,
            frozenset(c.pk for _, c in self.calibrations if c),
            self.method_version,
        )


def basis_in_force(survey: Survey) -> Basis:
    """What a result of this survey computed now would rest on."""
    stated = survey.stated
    day = survey_date(survey)
    pipe_data = pipe_data_valid(survey.measuring_point.pipe.data.all(), day)
    return Basis(
        survey,
        stated,
        # There was data when the set-up was worked out, so a survey before all of it rests on that.
        pipe_data if pipe_data is not None else stated.setup.pipe_data,
        transducer_data_in_force(stated.setup.transducer_data),
        tuple((i, calibration_in_force(i.calibrations.all(), day)) for i in stated.instruments.all()),
        method.METHOD_VERSION,
    )


def basis_of_result(result: Result) -> Basis:
    """What a result was computed from, whatever is in force by now."""
    made = {calibration.instrument_id: calibration for calibration in result.calibrations.all()}
    return Basis(
        result.survey,
        result.survey_data,
        result.pipe_data,
        result.transducer_data,
        tuple((i, made.get(i.pk)) for i in result.survey_data.instruments.all()),
        result.method_version,
    )


def transducer_data_in_force(data: TransducerData) -> TransducerData:
    """A version of a pair's data, or what corrected it."""
    while (later := getattr(data, "corrected_by", None)) is not None:
        data = later
    return data


def result_key(result: Result) -> tuple[object, ...]:
    """What a result rests on, to hold against `Basis.key`."""
    return (
        result.survey_data_id,
        result.pipe_data_id,
        result.transducer_data_id,
        frozenset(calibration.pk for calibration in result.calibrations.all()),
        result.method_version,
    )


def surveys_with_basis() -> QuerySet[Survey]:
    """Surveys with all that `basis_in_force` and a reduction read."""
    stated = SurveyData.objects.filter(replaced_at__isnull=True).select_related(*_DATA_RELATED)
    instruments = Instrument.objects.order_by("kind", "serial", "id")
    versions = PipeData.objects.select_related(
        "gauging", "own_material_data__material", "own_lining_data__material", "own_medium_data__medium"
    )
    return Survey.objects.select_related(*_RELATED).prefetch_related(
        Prefetch("data", stated),
        Prefetch("data__instruments", instruments),
        Prefetch("data__instruments__calibrations", Calibration.objects.select_related("corrected_by")),
        Prefetch("measuring_point__pipe__data", versions),
    )


def survey_with_basis(survey_id: UUID) -> Survey:
    """One survey, read afresh."""
    return surveys_with_basis().get(pk=survey_id)


def results_moved(current: QuerySet[Result], *, but_for_method: bool = True) -> list[Result]:
    """Of some current results those that rest on something no longer in force.

    A new method alone moves none, unless asked: that is a decision of its own. The number of queries does not grow with
    the surveys but for one round for each thousand.
    """
    rows = current.filter(replaced_at__isnull=True).order_by("survey_id").prefetch_related("calibrations")
    moved = []
    for some in batched(rows.iterator(chunk_size=AT_ONCE), AT_ONCE):
        surveys = {s.pk: s for s in surveys_with_basis().filter(pk__in=[result.survey_id for result in some])}
        for result in some:
            in_force = basis_in_force(surveys[result.survey_id]).key
            if _differ(result_key(result), in_force, but_for_method):
                moved.append(result)
    return moved


def batched(rows: Iterable[T], size: int) -> Iterator[list[T]]:
    """Rows in lists of up to a size."""
    rows = iter(rows)
    while some := list(islice(rows, size)):
        yield some


def _differ(rests_on: Iterable[object], in_force: Iterable[object], but_for_method: bool) -> bool:
    old, new = tuple(rests_on), tuple(in_force)
    return old[:-1] != new[:-1] if but_for_method else old != new
