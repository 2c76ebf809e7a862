"""The records of a year at a site: what of them a viewer may see, read in a constant number of queries."""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from dataclasses import dataclass
from datetime import UTC, date, datetime
from functools import cached_property

from django.db.models import Exists, OuterRef, Prefetch, Q, QuerySet

from surveys.calibration.affected_results import parts_with_reviews
from surveys.models import (
    Combination,
    CombinationPart,
    CombinedResult,
    Job,
    MeasuringPoint,
    Notice,
    Result,
    Site,
    Survey,
)
from surveys.models.job import JobState
from surveys.pipes.selectors import Viewer
from surveys.results.history import Found, histories


@dataclass(frozen=True)
class Year:
    """A calendar year by a site's clock, and who asks for it."""

    site: Site
    number: int
    viewer: Viewer

    @cached_property
    def span(self) -> tuple[datetime, datetime]:
        """Return the beginning of the year and of the next one."""
        begins, ends = (datetime(n, 1, 1, tzinfo=self.site.zone) for n in (self.number, self.number + 1))
        return begins.astimezone(UTC), ends.astimezone(UTC)

    def within(self, column: str) -> Q:
        """Return the condition that a time is in the year."""
        return Q(**{f"{column}__gte": self.span[0], f"{column}__lt": self.span[1]})

    def day(self, at: datetime) -> date:
        """Return the day of a time in the time zone of the site."""
        return at.astimezone(self.site.zone).date()


@dataclass(frozen=True, slots=True)
class PointYear:
    """A measuring point: its history to the end of the year, its results of the year, and its surveys without a result."""

    point: MeasuringPoint
    history: list[Found]
    found: list[Found]
    without_result: list[Survey]

    @property
    def name(self) -> str:
        """Return the name that clients know."""
        return f"{self.point.pipe.name}, {self.point.name}"


@dataclass(frozen=True, slots=True)
class Records:
    """The records of a year."""

    points: list[PointYear]
    notices: list[Notice]
    combined: list[CombinedResult]
    jobs: list[Job]

    def found(self) -> Iterator[tuple[PointYear, Found]]:
        """Yield each result of the year with its measuring point."""
        return ((one, found) for one in self.points for found in one.found)

    def latest(self) -> datetime | None:
        """Return the time of the latest record; None if there is none."""
        stamps = [one.created_at for one in self.notices] + [one.computed_at for one in self.combined]
        for point in self.points:
            stamps += [survey.recorded_at for survey in point.without_result]
            for found in point.history:
                stamps += [found.result.computed_at, *_reviewed_at(found.result.survey)]
                if found.together:
                    parts = found.result.survey.paths_combination.parts.all()
                    stamps += [found.together.computed_at, *_of_parts(parts)]
        for one in self.combined:
            stamps += _of_parts(one.combination.parts.all())
        return max(stamps, default=None)


def _of_parts(parts: Iterable[CombinationPart]) -> list[datetime]:
    return [stamp for part in parts for stamp in _reviewed_at(part.survey)]


def _reviewed_at(survey: Survey) -> Iterator[datetime]:
    """Yield the times when reviews of a survey were opened and decided."""
    for one in survey.out_of_tolerance_reviews.all():
        yield one.review.opened_at
        if one.decided_at:
            yield one.decided_at


def records_of(year: Year) -> Records:
    """Return the records of the year that the viewer may see."""
    rows = MeasuringPoint.objects.visible_to(year.viewer).filter(pipe__site=year.site)
    points = list(rows.select_related("pipe").order_by("pipe__name", "name", "id"))
    known, bare = histories(points, year.viewer), _without_result(year)
    points_of_year = [_point_year(year, point, known[point.pk], bare) for point in points]
    # The mean of the paths of a survey is listed with its measuring point.
    combined = CombinedResult.objects.visible_to(year.viewer).filter(
        year.within("averaged_from"),
        ~Q(combination__kind=Combination.Kind.MULTIPATH),
        combination__site=year.site,
        combination__retired_at__isnull=True,
        replaced_at__isnull=True,
    )
    return Records(
        [one for one in points_of_year if one.found or one.without_result or _in_use(one.point)],
        list(_notices(year)),
        list(
            combined.select_related("combination")
            .prefetch_related(Prefetch("combination__parts", parts_with_reviews()))
            .order_by("averaged_from", "id")
        ),
        list(_jobs(year)),
    )


def _point_year(year: Year, point: MeasuringPoint, history: list[Found], bare: list[Survey]) -> PointYear:
    begins, ends = year.span
    until = [one for one in history if one.result.survey.started_at < ends]
    return PointYear(
        point,
        until,
        [one for one in until if one.result.survey.started_at >= begins],
        [survey for survey in bare if survey.measuring_point_id == point.pk],
    )


def _in_use(point: MeasuringPoint) -> bool:
    return point.retired_at is None and point.pipe.retired_at is None


def _without_result(year: Year) -> list[Survey]:
    current = Result.objects.filter(survey=OuterRef("pk"), replaced_at__isnull=True)
    rows = Survey.objects.visible_to(year.viewer).filter(
        ~Exists(current),
        year.within("started_at"),
        measuring_point__pipe__site=year.site,
        primary_survey__isnull=True,
    )
    return list(rows.order_by("started_at", "id"))


def _notices(year: Year) -> QuerySet[Notice]:
    related = (
        "before__survey__measuring_point__pipe",
        "after",
        "before_combined__combination",
        "after_combined",
    )
    of_site = Q(before__survey__measuring_point__pipe__site=year.site)
    of_site |= Q(before_combined__combination__site=year.site)
    rows: QuerySet[Notice] = Notice.objects.visible_to(year.viewer).filter(of_site, year.within("created_at"))
    return rows.select_related(*related).order_by("created_at", "id")


def _jobs(year: Year) -> QuerySet[Job]:
    """Return the visits planned in the year or the next one and not begun."""
    rows: QuerySet[Job] = Job.objects.visible_to(year.viewer).filter(
        site=year.site,
        state=JobState.PLANNED,
        surveys__isnull=True,
        starts_at__gte=year.span[0],
        starts_at__lt=datetime(year.number + 2, 1, 1, tzinfo=year.site.zone),
    )
    return rows.prefetch_related("measuring_points__pipe").order_by("starts_at", "id")
