"""Inputs in force of a survey's result, and whether a given result is based on them.

One question decides every recomputation, whatever caused it: is what a result was computed from still what is in force?
`inputs_in_force` answers it with the records, for a computation; `keys_in_force` for many surveys by their ids alone: a
correction answers at once however many surveys rest on what it corrects, and rows with their findings and budgets cost
twenty times as much to read as the few columns that decide.
"""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass
from itertools import islice
from typing import Any, TypeVar
from uuid import UUID
from zoneinfo import ZoneInfo

from django.db.models import Exists, OuterRef, Prefetch, QuerySet

from compute.results import survey as method
from surveys.calibration.policies import error_curve_applied
from surveys.models import (
    Calibration,
    ErrorCorrectionPolicy,
    Instrument,
    PipeData,
    RecomputationItem,
    Result,
    ReviewedSurvey,
    Survey,
    SurveyData,
    TransducerData,
    WallMeasurement,
)
from surveys.models.result import Cause
from surveys.pipes.selectors import calibration_in_force, pipe_data_valid, survey_date
from surveys.results.dependencies import COLUMNS, NAMES, RECORD_SETS, Key, result_keys

T = TypeVar("T")
BATCH_SIZE = 1000
# What `inputs_in_force` and a reduction read, for many surveys in as many queries as for one.
_RELATED = ("measuring_point__pipe__site__client", "log")
_DATA_RELATED = (
    "setup__pipe_data",
    "setup__transducer_data__instrument",
    "setup__transducer_data__corrected_by",
)
OWN = ("custom_material_data__material", "custom_lining_data__material", "custom_medium_data__medium")


@dataclass(frozen=True, slots=True)
class ResultInputs:
    """Records that the result of a survey is based on; `calibrations` by instrument, None without a calibration by that day.

    `error_corrections` are the instruments whose error curves are applied, `error_correction_policies` the number of policies evaluated;
    `as_found_corrections` the certificates whose as-found errors the office decided to correct.
    """

    survey: Survey
    survey_data: SurveyData
    pipe_data: PipeData
    transducer_data: TransducerData
    calibrations: tuple[tuple[Instrument, Calibration | None], ...]
    method_version: str
    error_corrections: tuple[Instrument, ...] = ()
    error_correction_policies: int = 0
    as_found_corrections: tuple[Calibration, ...] = ()

    @property
    def key(self) -> Key:
        """Equal for inputs that name the same records; in the order of `DEPENDENCIES`, as `result_key`."""
        return tuple(_key_part(self, name) for name in NAMES)


def _key_part(inputs: ResultInputs, name: str) -> object:
    value = getattr(inputs, name)
    if name == "calibrations":
        return frozenset(calibration.pk for _, calibration in value if calibration)
    if name in RECORD_SETS:
        return frozenset(one.pk for one in value)
    return getattr(value, "pk", value)


def inputs_in_force(survey: Survey, policies: Sequence[ErrorCorrectionPolicy] | None = None) -> ResultInputs:
    """Return the inputs of a result of this survey calculated now. For many surveys, pass the policies read once."""
    stated = survey.stated
    policies = error_correction_policies() if policies is None else policies
    day = survey_date(survey)
    calibrations = tuple(
        (i, calibration_in_force(i.calibrations.all(), day)) for i in stated.instruments.all()
    )
    pipe_data = pipe_data_valid(survey.measuring_point.pipe.data.all(), day)
    return ResultInputs(
        survey,
        stated,
        # The set-up was calculated with data, which also serve a survey before the first version.
        pipe_data if pipe_data is not None else stated.setup.pipe_data,
        transducer_data_in_force(stated.setup.transducer_data),
        calibrations,
        method.METHOD_VERSION,
        tuple(i for i, c in calibrations if c and error_curve_applied(policies, i, day)),
        len(policies),
        tuple(one.review.calibration for one in survey.out_of_tolerance_reviews.all() if _holds(one)),
    )


def inputs_of_result(result: Result) -> ResultInputs:
    """What a result was computed from, whatever is in force by now."""
    by_instrument = {calibration.instrument_id: calibration for calibration in result.calibrations.all()}
    return ResultInputs(
        result.survey,
        result.survey_data,
        result.pipe_data,
        result.transducer_data,
        tuple((i, by_instrument.get(i.pk)) for i in result.survey_data.instruments.all()),
        result.method_version,
        tuple(result.error_corrections.all()),
        as_found_corrections=tuple(result.as_found_corrections.all()),
    )


def transducer_data_in_force(data: TransducerData) -> TransducerData:
    """A version of a pair's data, or what corrected it."""
    while (later := getattr(data, "corrected_by", None)) is not None:
        data = later
    return data


def surveys_with_inputs() -> QuerySet[Survey]:
    """Surveys with all that `inputs_in_force` and a reduction read, but for the readings."""
    stated = SurveyData.objects.filter(replaced_at__isnull=True).select_related(*_DATA_RELATED)
    stated = stated.defer("setup__outcome")
    instruments = Instrument.objects.order_by("kind", "serial", "id")
    return Survey.objects.select_related(*_RELATED).prefetch_related(
        Prefetch("data", stated),
        Prefetch("data__instruments", instruments),
        Prefetch(
            "data__instruments__calibrations",
            Calibration.objects.select_related("corrected_by").prefetch_related("points"),
        ),
        Prefetch("out_of_tolerance_reviews", surveys_to_correct()),
        Prefetch("measuring_point__pipe__data", PipeData.objects.select_related("wall_measurement", *OWN)),
        Prefetch(
            "measuring_point__pipe__wall_measurements", WallMeasurement.objects.order_by("-taken_at", "-id")
        ),
    )


def surveys_to_correct() -> QuerySet[ReviewedSurvey]:
    """Surveys of which the office decided that an error found is corrected, with the certificate that found it."""
    rows = ReviewedSurvey.objects.filter(state=ReviewedSurvey.State.CORRECTED)
    related = ("review__calibration__corrected_by", "review__calibration__instrument")
    return rows.select_related(*related).prefetch_related("review__calibration__points")


def _holds(one: ReviewedSurvey) -> bool:
    """Whether a decision to correct still has its ground: the certificate was not itself corrected."""
    decided = one.state == ReviewedSurvey.State.CORRECTED
    return decided and getattr(one.review.calibration, "corrected_by", None) is None


def survey_with_inputs(survey_id: UUID) -> Survey:
    """Return one survey, read again."""
    return surveys_with_inputs().get(pk=survey_id)


def results_outdated(current: QuerySet[Result], *, but_for_method: bool = True) -> list[Result]:
    """Return the current results with inputs that are no longer in force, and those that a recomputation will replace.

    The second kind is included because a worker may have read the inputs before the caller's change and may store its result
    later. A new method alone makes no result outdated unless requested, because that is a separate decision. The number of
    queries is constant for each thousand surveys.
    """
    unsettled = (
        RecomputationItem.objects.filter(survey=OuterRef("survey"))
        .exclude(state=RecomputationItem.State.DONE)
        # These replace nothing.
        .exclude(recomputation__cause=Cause.OUT_OF_TOLERANCE)
    )
    rows = (
        current.filter(replaced_at__isnull=True)
        .only("survey", *COLUMNS)
        .annotate(unsettled=Exists(unsettled))
    )
    moved: list[Result] = []
    for some in batched(rows.order_by("survey_id").iterator(chunk_size=BATCH_SIZE), BATCH_SIZE):
        rests_on, in_force = result_keys(some), keys_in_force([result.survey_id for result in some])
        for result in some:
            old, new = rests_on[result.pk], in_force[result.survey_id]
            differ = old[:-1] != new[:-1] if but_for_method else old != new
            if differ or result.unsettled:
                moved.append(result)
    return moved


def keys_in_force(survey_ids: Iterable[UUID]) -> dict[UUID, Key]:
    """`inputs_in_force(survey).key` of many surveys."""
    surveys = list(
        Survey.objects.filter(pk__in=list(survey_ids))
        .order_by()
        .values_list("pk", "started_at", "measuring_point__pipe", "measuring_point__pipe__site__time_zone")
    )
    stated = _stated(row[0] for row in surveys)
    versions = _versions({row[2] for row in surveys})
    used = _pairs(
        SurveyData.instruments.through.objects.filter(
            surveydata__in=[row[0] for row in stated.values()]
        ).values_list("surveydata_id", "instrument_id")
    )
    calibrations = _calibrations({instrument for one in used.values() for instrument in one})
    corrected_by = dict(
        TransducerData.objects.filter(corrects__isnull=False).order_by().values_list("corrects", "pk")
    )
    as_found_corrections = _pairs(
        ReviewedSurvey.objects.filter(
            survey__in=[row[0] for row in surveys],
            state=ReviewedSurvey.State.CORRECTED,
            review__calibration__corrected_by__isnull=True,
        ).values_list("survey", "review__calibration")
    )
    policies = error_correction_policies()
    instruments = Instrument.objects.in_bulk(list(calibrations)) if policies else {}
    keys: dict[UUID, Key] = {}
    for pk, started_at, pipe, zone in surveys:
        data, pipe_data_then, pair = stated[pk]
        day = started_at.astimezone(ZoneInfo(zone)).date()
        valid = pipe_data_valid(versions[pipe], day)
        calibrated = {i: found for i in used[data] if (found := calibration_in_force(calibrations[i], day))}
        parts = {
            "survey_data": data,
            "pipe_data": valid.pk if valid else pipe_data_then,
            "transducer_data": _end_of(pair, corrected_by),
            "calibrations": frozenset(calibration.pk for calibration in calibrated.values()),
            "error_corrections": frozenset(
                i for i in calibrated if policies and error_curve_applied(policies, instruments[i], day)
            ),
            "as_found_corrections": frozenset(as_found_corrections[pk]),
            "method_version": method.METHOD_VERSION,
        }
        keys[pk] = tuple(parts[name] for name in NAMES)
    return keys


def error_correction_policies() -> list[ErrorCorrectionPolicy]:
    """Return all policies on error curves; `surveys.calibration.policies` selects the one in force."""
    return list(ErrorCorrectionPolicy.objects.select_related("instrument"))


def batched(rows: Iterable[T], size: int) -> Iterator[list[T]]:
    """Rows in lists of up to a size."""
    rows = iter(rows)
    while some := list(islice(rows, size)):
        yield some


def _stated(surveys: Iterable[UUID]) -> dict[UUID, tuple[UUID, UUID, UUID]]:
    """Of each survey the version in force of what is stated, with its set-up's pipe data and transducer data."""
    rows = SurveyData.objects.filter(replaced_at__isnull=True, survey__in=list(surveys)).order_by()
    columns = rows.values_list("survey", "pk", "setup__pipe_data", "setup__transducer_data")
    return {survey: (pk, pipe_data, pair) for survey, pk, pipe_data, pair in columns}


def _versions(pipes: Iterable[UUID]) -> dict[UUID, list[PipeData]]:
    grouped = defaultdict(list)
    rows = PipeData.objects.filter(pipe__in=list(pipes)).only("pipe", "corrects", "valid_from", "recorded_at")
    for version in rows:
        grouped[version.pipe_id].append(version)
    return grouped


def _calibrations(instruments: Iterable[UUID]) -> dict[UUID, list[Calibration]]:
    grouped = defaultdict(list)
    rows = Calibration.objects.filter(instrument__in=list(instruments)).select_related("corrected_by")
    for calibration in rows:
        grouped[calibration.instrument_id].append(calibration)
    return grouped


def _end_of(version: UUID, corrected_by: Mapping[UUID | None, UUID]) -> UUID:
    while later := corrected_by.get(version):
        version = later
    return version


def _pairs(rows: Iterable[tuple[Any, Any]]) -> dict[UUID, list[UUID]]:
    grouped = defaultdict(list)
    for one, other in rows:
        grouped[one].append(other)
    return grouped
