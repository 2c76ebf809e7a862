"""What a result is based on, stated once.

A dependency is a record, a set of records or a version that a result names and that can be replaced by another. The key of a result
and of the inputs in force, the prefetch list, the staleness check and the traceability are derived from `DEPENDENCIES`: to base
results on something new, add it to `Result`, to `ResultInputs` and here.
"""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Callable, Iterable, Sequence
from dataclasses import dataclass
from typing import Any
from uuid import UUID

from django.db.models import QuerySet

from surveys.models import Result

Key = tuple[object, ...]


@dataclass(frozen=True, slots=True)
class Dependency:
    """One thing a result is based on.

    name         field of `Result`, and attribute of `ResultInputs`
    of_result    its part of a result's key, from columns or from prefetched rows
    unchanged    SQL condition that it is still in force, with as many parameters as `stated` gives; empty where nothing replaces it
    stated       parameters of `unchanged`, from the inputs that were read
    records      related rows that the key needs: a many-to-many field
    """

    name: str
    of_result: Callable[[Result], object]
    unchanged: str = ""
    stated: Callable[[Any], Sequence[object]] = lambda inputs: ()
    records: bool = False


def _record(name: str, unchanged: str, stated: Callable[[Any], Sequence[object]]) -> Dependency:
    return Dependency(name, lambda result: getattr(result, f"{name}_id"), unchanged, stated)


def _records(
    name: str, unchanged: str = "", stated: Callable[[Any], Sequence[object]] = lambda inputs: ()
) -> Dependency:
    return Dependency(
        name,
        lambda result: frozenset(one.pk for one in getattr(result, name).all()),
        unchanged,
        stated,
        records=True,
    )


# Versions of pipe data, calibrations and policies are only ever added: as many rows as were read are the rows that were read.
# The alias s is the survey.
DEPENDENCIES = (
    _record(
        "survey_data",
        "EXISTS (SELECT 1 FROM surveys_surveydata d WHERE d.id = %s AND d.replaced_at IS NULL)",
        lambda inputs: [inputs.survey_data],
    ),
    _record(
        "pipe_data",
        "%s = (SELECT count(*) FROM surveys_pipedata p WHERE p.pipe_id = %s)",
        lambda inputs: [
            len(inputs.survey.measuring_point.pipe.data.all()),
            inputs.survey.measuring_point.pipe,
        ],
    ),
    _record(
        "transducer_data",
        "NOT EXISTS (SELECT 1 FROM surveys_transducerdata t WHERE t.corrects_id = %s)",
        lambda inputs: [inputs.transducer_data],
    ),
    _records(
        "calibrations",
        "%s = (SELECT count(*) FROM surveys_calibration c"
        " JOIN surveys_surveydata_instruments u ON u.instrument_id = c.instrument_id WHERE u.surveydata_id = %s)",
        lambda inputs: [
            sum(len(instrument.calibrations.all()) for instrument, _ in inputs.calibrations),
            inputs.survey_data,
        ],
    ),
    _records(
        "error_corrections",
        "%s = (SELECT count(*) FROM surveys_errorcorrectionpolicy)",
        lambda inputs: [inputs.error_correction_policies],
    ),
    _records(
        "as_found_corrections",
        "%s = (SELECT count(*) FROM surveys_reviewedsurvey v"
        " JOIN surveys_outoftolerancereview t ON t.id = v.review_id"
        " WHERE v.survey_id = s.id AND v.state = 'corrected'"
        " AND NOT EXISTS (SELECT 1 FROM surveys_calibration k WHERE k.corrects_id = t.calibration_id))",
        lambda inputs: [len(inputs.as_found_corrections)],
    ),
    # Last: a new method alone replaces no result unless a run asks for it.
    Dependency("method_version", lambda result: result.method_version),
)

NAMES = tuple(one.name for one in DEPENDENCIES)
RECORD_SETS = tuple(one.name for one in DEPENDENCIES if one.records)
# Related rows that repeat a calculation from exactly what a result names.
REPEATED_FROM = (
    *(name if name == "error_corrections" else f"{name}__points" for name in RECORD_SETS),
    "survey_data__instruments",
)
COLUMNS = tuple(one.name for one in DEPENDENCIES if not one.records)


def result_key(result: Result) -> Key:
    """Return what a result is based on, to compare with `ResultInputs.key`. Reads the sets of records, prefetched or not."""
    return tuple(one.of_result(result) for one in DEPENDENCIES)


def result_keys(results: Iterable[Result]) -> dict[UUID, Key]:
    """Return `result_key` of many results by their ids alone: one query for each set of records, whatever the number of results."""
    results = list(results)
    sets = {name: _related([result.pk for result in results], name) for name in RECORD_SETS}
    return {
        result.pk: tuple(
            frozenset(sets[one.name][result.pk]) if one.records else one.of_result(result)
            for one in DEPENDENCIES
        )
        for result in results
    }


def with_record_sets(results: QuerySet[Result]) -> QuerySet[Result]:
    """Prefetch the sets of records that results are based on."""
    return results.prefetch_related(*RECORD_SETS)


def _related(results: Sequence[UUID], name: str) -> dict[UUID, list[UUID]]:
    relation = Result._meta.get_field(name)
    through = getattr(Result, name).through
    target = relation.m2m_reverse_field_name()  # type: ignore[union-attr]
    grouped: dict[UUID, list[UUID]] = defaultdict(list)
    rows = through.objects.filter(result__in=results).values_list("result_id", f"{target}_id")
    for result, record in rows:
        grouped[result].append(record)
    return grouped
