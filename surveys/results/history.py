"""History of the results at a measuring point, and whether the uncertainties explain the changes."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, replace
from datetime import date
from typing import Any
from uuid import UUID
from zoneinfo import ZoneInfo

from django.db.models import Prefetch, QuerySet

from compute.combining.combination import combine
from compute.combining.components import Component, Owner, Part, part_of_result
from compute.combining.paths import SPREAD
from compute.combining.repeat_mountings import (
    MountingUncertainty,
    mounting_uncertainty,
    part_of_survey,
    profile_is_shared,
)
from surveys.calibration.affected_results import (
    ReviewNotice,
    combined_notices,
    parts_with_reviews,
    review_notices,
)
from surveys.core.stored_quantities import budget_rows
from surveys.models import (
    Calibration,
    Combination,
    CombinedResult,
    MeasuringPoint,
    Result,
    ReviewedSurvey,
)
from surveys.models.instrument import Kind
from surveys.pipes.selectors import Viewer

WITHDRAWN = ReviewedSurvey.State.WITHDRAWN


@dataclass(frozen=True, slots=True)
class Change:
    """From one survey to a later one at the same point, and how much of it the uncertainties explain.

    `explained_m3_s` is the expanded uncertainty of the difference. What moves both alike (the pipe data, one meter
    under one certificate, one pair, the profile at the point) has cancelled in it; `mounting` is what each mounting brings.
    """

    difference_m3_s: float
    relative: float | None
    explained_m3_s: float
    mounting: MountingUncertainty

    @property
    def explained(self) -> bool:
        """Whether a difference as large is to be expected where nothing changed."""
        return abs(self.difference_m3_s) <= self.explained_m3_s


@dataclass(frozen=True, slots=True)
class Found:
    """Result of a survey: the current result of its first path, and the mean of its paths if there are several.

    `notices` are those of the result and, of the mean, those of its other paths. A withdrawn result is not compared.
    """

    result: Result
    together: CombinedResult | None
    notices: list[ReviewNotice]
    change: Change | None = None

    @property
    def withdrawn(self) -> bool:
        return any(notice.state == WITHDRAWN for notice in self.notices)

    @property
    def volume_flow_m3_s(self) -> float:
        return (self.together or self.result).volume_flow_m3_s

    @property
    def expanded_uncertainty_m3_s(self) -> float:
        return (self.together or self.result).expanded_uncertainty_m3_s

    @property
    def coverage_factor(self) -> float:
        return (self.together or self.result).coverage_factor

    @property
    def paths(self) -> int:
        return len(self.together.parts) if self.together else 1


def change_between(before: Found, after: Found, mounting: MountingUncertainty) -> Change:
    """Return the difference with its uncertainty; shared uncertainties are counted once (JCGM 100:2008 5.2.2).

    The relative change is None where the earlier flow is within its uncertainty of 0.
    """
    difference, base = after.volume_flow_m3_s - before.volume_flow_m3_s, abs(before.volume_flow_m3_s)
    shared = profile_is_shared(before.result.reynolds, after.result.reynolds)
    parts = [*_parts(after, 1.0, mounting, shared), *_parts(before, -1.0, mounting, shared)]
    return Change(
        difference,
        difference / base if base > before.expanded_uncertainty_m3_s else None,
        combine(parts).expanded_uncertainty,
        mounting,
    )


def _mountings(points: Iterable[MeasuringPoint | UUID], viewer: Viewer) -> dict[UUID, MountingUncertainty]:
    """What each mounting brings at each of the points, from surveys of one day with set-ups of their own; one query."""
    days: dict[UUID, dict[date, dict[UUID, float]]] = defaultdict(lambda: defaultdict(dict))
    rows = _first_paths(points, viewer).values_list(
        "survey__measuring_point_id",
        "survey__measuring_point__pipe__site__time_zone",
        "survey__started_at",
        "survey_data__setup_id",
        "volume_flow_m3_s",
    )
    for point, zone, started_at, setup, flow in rows.iterator():
        days[point][started_at.astimezone(ZoneInfo(zone)).date()].setdefault(setup, flow)
    return {
        point: mounting_uncertainty([list(flows.values()) for flows in of_day.values()])
        for point, of_day in days.items()
    }


def point_history(
    point: MeasuringPoint, viewer: Viewer, *, newest: int | None = None, skipped: int = 0
) -> list[Found]:
    """Return the results of the surveys of a point, oldest first, each with its change since the last one that counts.

    `newest` limits the number of results and `skipped` leaves out the latest ones; the oldest is compared too.
    """
    newest_first = _current([point], viewer).order_by("-survey__started_at", "-survey_id")
    rows = list(newest_first[skipped : None if newest is None else skipped + newest + 1])
    history = _compared(reversed(rows), _mountings([point], viewer))
    return history if newest is None else history[-newest:]


def histories(points: Iterable[MeasuringPoint], viewer: Viewer) -> dict[UUID, list[Found]]:
    """The whole history of each of the points; the same number of queries, however many there are."""
    found: dict[UUID, list[Result]] = {point.pk: [] for point in points}
    for result in _current(found, viewer).order_by("survey__started_at", "survey_id"):
        found[result.survey.measuring_point_id].append(result)
    mountings = _mountings(found, viewer)
    return {point: _compared(results, mountings) for point, results in found.items()}


def _current(points: Iterable[MeasuringPoint | UUID], viewer: Viewer) -> QuerySet[Result]:
    """The results in force of surveys at some points, of the first path where there are several."""
    return _with_inputs(_first_paths(points, viewer))


def _first_paths(points: Iterable[MeasuringPoint | UUID], viewer: Viewer) -> QuerySet[Result]:
    return Result.objects.visible_to(viewer).filter(
        survey__measuring_point__in=list(points),
        survey__primary_survey__isnull=True,
        replaced_at__isnull=True,
    )


def _compared(results: Iterable[Result], mountings: Mapping[UUID, MountingUncertainty]) -> list[Found]:
    """Results of one point, oldest first, each held against the last one that was not withdrawn."""
    history: list[Found] = []
    last: Found | None = None
    for result in results:
        one = Found(result, _together(result), _notices(result))
        if not one.withdrawn:
            if last:
                mounting = mountings[result.survey.measuring_point_id]
                one = replace(one, change=change_between(last, one, mounting))
            last = one
        history.append(one)
    return history


def _notices(result: Result) -> list[ReviewNotice]:
    survey = result.survey
    own = review_notices(survey.out_of_tolerance_reviews.all())
    if _together(result) is None:
        return own
    return [*own, *combined_notices(survey.paths_combination.parts.all(), but_for=survey.pk)]


def _with_inputs(rows: QuerySet[Result]) -> QuerySet[Result]:
    reviews = ReviewedSurvey.objects.select_related("review__instrument")
    certificates = Calibration.objects.order_by("calibrated_on", "id")
    owned = ("survey_data__instruments", Prefetch("calibrations", certificates))
    further = Result.objects.select_related("survey", "survey_data", "transducer_data").prefetch_related(
        *owned
    )
    paths = CombinedResult.objects.filter(
        combination__kind=Combination.Kind.MULTIPATH,
        combination__retired_at__isnull=True,
        replaced_at__isnull=True,
    ).prefetch_related(Prefetch("results", further.defer("findings", "change_breakdown")))
    return (
        rows.select_related("survey", "survey_data", "transducer_data")
        .prefetch_related(*owned, Prefetch("survey__out_of_tolerance_reviews", reviews))
        .prefetch_related(
            Prefetch("survey__paths_combination__results", paths, to_attr="in_force"),
            Prefetch("survey__paths_combination__parts", parts_with_reviews()),
        )
        .defer("change_breakdown")
    )


def _together(result: Result) -> CombinedResult | None:
    """The mean of a survey's paths, if it has more than one."""
    combination = getattr(result.survey, "paths_combination", None)
    return next(iter(combination.in_force), None) if combination is not None else None


def _parts(found: Found, sign: float, mounting: MountingUncertainty, shares_profile: bool) -> list[Part]:
    """A survey as parts of a difference: each of its paths by its share, and what their spread adds."""
    together = found.together
    results: Sequence[Result] = list(together.results.all()) if together else [found.result]
    parts = [
        replace(
            part_of_survey(
                part_of_result(one.volume_flow_m3_s, budget_rows(one.budget), _owners(one)),
                mounting,
                str(one.survey_id),
                shares_profile=shares_profile,
            ),
            coefficient=sign / len(results),
        )
        for one in results
    ]
    spread = [row for row in together.budget if row["input"] == SPREAD] if together else []
    return [*parts, *(Part(0.0, (_spread(row, found),), sign) for row in spread)]


def _spread(row: Mapping[str, Any], found: Found) -> Component:
    return Component(f"{SPREAD}@run:{found.result.survey_id}", row["contribution"]["si"])


def _owners(result: Result) -> Mapping[Owner, str]:
    """Owners of the uncertainties of a result, for a difference in time; an unknown owner counts for this day alone.

    The medium's temperature is measured each day. The effect of the position around the pipe on a disturbed profile is part of the mounting
    (`compute.combining.repeat_mountings`). A meter or a pair calibrated in between has another certificate's error.
    """
    certificates = {one.instrument_id: one.pk for one in result.calibrations.all()}
    meters = [one.pk for one in result.survey_data.instruments.all() if one.kind == Kind.METER]
    pair = result.transducer_data
    day = str(result.survey.primary_survey_id or result.survey_id)
    return {
        "pipe": str(result.pipe_data_id),
        "meter": "+".join(sorted(f"{one} by {certificates.get(one)}" for one in meters)) or day,
        "pair": f"{pair.pk} by {certificates.get(pair.instrument_id)}",
        "mounting": str(result.survey_id),
        "medium": day,
        "point": str(result.survey.measuring_point_id),
        "run": str(result.survey_id),
    }
