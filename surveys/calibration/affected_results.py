"""Results affected by an instrument, and the notices of out-of-tolerance reviews."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from datetime import UTC, date, datetime, time, timedelta
from typing import Any
from uuid import UUID
from zoneinfo import ZoneInfo

from django.db.models import BooleanField, Exists, ExpressionWrapper, OuterRef, Prefetch, Q, QuerySet
from django.db.models.functions import Coalesce
from django.utils.translation import gettext as _

from compute.base.messages import Message, day, message, term
from compute.calibration.out_of_tolerance import AffectedPeriod, DatedVerdict, affected_period
from surveys.calibration.conformity import conformity_of
from surveys.core.messages import render
from surveys.models import (
    Calibration,
    Combination,
    CombinationPart,
    CombinedResult,
    Instrument,
    Result,
    ReviewedSurvey,
    Survey,
    SurveyData,
    WallMeasurement,
)
from surveys.models.calibration import Moment

State = ReviewedSurvey.State
# Time zones differ from UTC by up to 14 h, so a local day lies within the adjacent UTC days.
ANY_ZONE = timedelta(days=1)


def affected_period_of(calibration: Calibration) -> AffectedPeriod | None:
    """Return the days whose results a calibration may affect; None without as-found results or if they are within limits."""
    found = conformity_of(calibration, Moment.AS_FOUND)
    if found is None or found.conforms:
        return None
    history = (
        Calibration.objects.filter(
            instrument=calibration.instrument_id,
            corrected_by__isnull=True,
            calibrated_on__lte=calibration.calibrated_on,
        )
        .select_related("instrument")
        .prefetch_related("points")
        .order_by("recorded_at", "id")
    )
    # Of two on one day the later record, and this calibration before all others.
    by_day = {one.calibrated_on: one for one in history} | {calibration.calibrated_on: calibration}
    return affected_period([_dated(one) for one in by_day.values()])


def affected_results(instrument: Instrument, after: date | None, until: date) -> list[Result]:
    """Return current results of surveys made with an instrument from a day on (None: from the first) and before another.

    Also those whose wall was measured with it in that time. Days are those of the site. One query for any number of results.
    """
    in_period = Q(survey__started_at__lt=_start(until) + ANY_ZONE)
    measured_wall = Q(taken_at__lt=_start(until) + ANY_ZONE)
    if after is not None:
        in_period &= Q(survey__started_at__gte=_start(after) - ANY_ZONE)
        measured_wall &= Q(taken_at__gte=_start(after) - ANY_ZONE)
    used = Q(survey_data__in=SurveyData.objects.filter(instruments=instrument)) & in_period
    rested = Q(wall_measurement__in=WallMeasurement.objects.filter(measured_wall, gauge=instrument))
    rows = Result.objects.filter(used | rested, replaced_at__isnull=True)
    rows = rows.select_related("survey__measuring_point__pipe__site__client", "wall_measurement")
    rows = rows.defer("budget", "findings", "change_breakdown").order_by("survey__started_at", "survey_id")
    return [row for row in rows if _in_span(row, instrument, after, until)]


def _in_span(result: Result, instrument: Instrument, after: date | None, until: date) -> bool:
    """Return whether the survey, or the wall measurement with this gauge, was made within the days, in the site's time zone."""
    survey = result.survey
    zone = ZoneInfo(survey.measuring_point.pipe.site.time_zone)
    moments = [survey.started_at]
    if result.wall_measurement is not None and result.wall_measurement.gauge_id == instrument.pk:
        moments = [result.wall_measurement.taken_at]
    days = [moment.astimezone(zone).date() for moment in moments]
    return any((after is None or after <= day) and day < until for day in days)


def _start(day: date) -> datetime:
    return datetime.combine(day, time(0), UTC)


def _dated(calibration: Calibration) -> DatedVerdict:
    found, left = (conformity_of(calibration, moment) for moment in (Moment.AS_FOUND, Moment.AS_LEFT))
    return DatedVerdict(
        calibration.calibrated_on, found.conformity if found else None, left.conformity if left else None
    )


@dataclass(frozen=True, slots=True)
class ReviewNotice:
    """The notice to a client about a survey whose instrument was found out of tolerance."""

    state: str
    found_on: date
    message: Message

    @property
    def sentence(self) -> str:
        """Text of the notice."""
        return render(self.message).detail

    def shown(self) -> dict[str, Any]:
        """The notice as the API returns it."""
        return {"state": self.state, "found_on": self.found_on, "sentence": self.sentence}


def reviews_to_report(reviewed: Iterable[ReviewedSurvey]) -> list[ReviewedSurvey]:
    """Return the reviews that a reader is notified of, newest first, without void reviews."""
    open_reviews = [one for one in reviewed if one.state != State.VOID]
    return sorted(open_reviews, key=lambda one: one.review.found_on, reverse=True)


def review_notices(reviewed: Iterable[ReviewedSurvey]) -> list[ReviewNotice]:
    """Return the review notices of a survey, newest first."""
    return [review_notice(one) for one in reviews_to_report(reviewed)]


def parts_with_reviews() -> QuerySet[CombinationPart]:
    """Return parts of combinations in order, with the relations that `combined_notices` reads."""
    reviews = ReviewedSurvey.objects.select_related("review__instrument")
    rows = CombinationPart.objects.select_related("combination", "survey__measuring_point__pipe")
    return rows.prefetch_related(Prefetch("survey__out_of_tolerance_reviews", reviews)).order_by("sequence")


def combined_notices(parts: Iterable[CombinationPart], but_for: UUID | None = None) -> list[ReviewNotice]:
    """Return the review notices of a combination's parts, newest first; one notice for several parts.

    `parts` as `parts_with_reviews` reads them; `but_for` is a survey whose reviews are listed separately.
    """
    open_reviews: dict[tuple[object, ...], tuple[ReviewedSurvey, list[CombinationPart]]] = {}
    for part in parts:
        if part.survey_id != but_for:
            for one in reviews_to_report(part.survey.out_of_tolerance_reviews.all()):
                key = (one.review_id, one.state, one.reason)
                open_reviews.setdefault(key, (one, []))[1].append(part)
    newest_first = sorted(open_reviews.values(), key=lambda row: row[0].review.found_on, reverse=True)
    return [
        ReviewNotice(one.state, one.review.found_on, _combined_message(one, of)) for one, of in newest_first
    ]


def notices_with_paths(survey: Survey, together: CombinedResult | None) -> list[ReviewNotice]:
    """Return the review notices of a survey and, for one of several paths, of their mean."""
    own = review_notices(survey.out_of_tolerance_reviews.all())
    if together is None:
        return own
    parts = parts_with_reviews().filter(combination=together.combination_id)
    return [*own, *combined_notices(parts, but_for=survey.pk)]


def with_outdated(reports: Any) -> Any:
    """Return reports with whether each is outdated: another result in force, a later review or decision, another mean of paths."""
    since = Q(review__opened_at__gt=OuterRef("issued_at")) | Q(decided_at__gt=OuterRef("issued_at"))
    first = Coalesce(OuterRef("survey__primary_survey"), OuterRef("survey"))
    # The report of each path shows the mean of the paths.
    paths = Q(survey=first) | Q(survey__primary_survey=first)
    reviewed = ReviewedSurvey.objects.filter(since, paths)
    means = CombinedResult.objects.filter(combination__survey=first, computed_at__gt=OuterRef("issued_at"))
    moved = Q(result__replaced_at__isnull=False) | Q(Exists(reviewed)) | Q(Exists(means))
    return reports.annotate(outdated=ExpressionWrapper(moved, BooleanField()))


def review_notice(one: ReviewedSurvey) -> ReviewNotice:
    """Return the notice of a review about a survey."""
    notice = message("review-notice/survey", **_parameters(one))
    return ReviewNotice(one.state, one.review.found_on, notice)


def _parameters(one: ReviewedSurvey) -> dict[str, Any]:
    return {
        "instrument": term(one.review.instrument.kind),
        "found_on": day(one.review.found_on),
        "state": one.state,
        "reason": one.reason,
    }


def _combined_message(one: ReviewedSurvey, parts: Sequence[CombinationPart]) -> Message:
    paths = parts[0].combination.kind == Combination.Kind.MULTIPATH
    names = list(dict.fromkeys(_part_name(part) for part in parts))
    key = "review-notice/paths" if paths else "review-notice/combination"
    return message(key, surveys=names, **_parameters(one))


def _part_name(part: CombinationPart) -> str:
    """Return the name of a part for readers."""
    if part.combination.kind == Combination.Kind.MULTIPATH:
        return _("path %(number)d") % {"number": part.sequence + 1}
    point = part.survey.measuring_point
    return f"{point.pipe.name}, {point.name}"
