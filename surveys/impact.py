"""Which results an instrument has touched, and what the office's reviews say of a survey."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from datetime import UTC, date, datetime, time, timedelta
from typing import Any
from zoneinfo import ZoneInfo

from django.db.models import BooleanField, Exists, ExpressionWrapper, OuterRef, Q
from django.db.models.functions import Coalesce

from compute.calibration_effect import DatedVerdict, InDoubt, in_doubt
from surveys.models import (
    Calibration,
    CombinedResult,
    Gauging,
    Instrument,
    Result,
    ReviewedSurvey,
    SurveyData,
)
from surveys.models.calibration import Moment
from surveys.verdicts import verdict_of

State = ReviewedSurvey.State
# Zones lie up to fourteen hours off UTC: a local day lies within the days beside it.
ANY_ZONE = timedelta(days=1)


def doubt_raised_by(calibration: Calibration) -> InDoubt | None:
    """The days whose results a calibration puts in doubt; None if it found the instrument within its limits, or found nothing."""
    found = verdict_of(calibration, Moment.AS_FOUND)
    if found is None or found.within:
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
    # Of two of one day the one recorded last, and this one before all.
    by_day = {one.calibrated_on: one for one in history} | {calibration.calibrated_on: calibration}
    return in_doubt([_dated(one) for one in by_day.values()])


def results_touched(instrument: Instrument, after: date | None, until: date) -> list[Result]:
    """Current results of surveys made with an instrument from a day on (None: from the first) and before another.

    Also those whose wall was gauged with it in that time. Days are those of the site. One query, however many there are.
    """
    made = Q(survey__started_at__lt=_start(until) + ANY_ZONE)
    gauged = Q(taken_at__lt=_start(until) + ANY_ZONE)
    if after is not None:
        made &= Q(survey__started_at__gte=_start(after) - ANY_ZONE)
        gauged &= Q(taken_at__gte=_start(after) - ANY_ZONE)
    used = Q(survey_data__in=SurveyData.objects.filter(instruments=instrument)) & made
    rested = Q(gauging__in=Gauging.objects.filter(gauged, gauge=instrument))
    rows = Result.objects.filter(used | rested, replaced_at__isnull=True)
    rows = rows.select_related("survey__measuring_point__pipe__site__client", "gauging")
    rows = rows.defer("budget", "findings", "account").order_by("survey__started_at", "survey_id")
    return [row for row in rows if _in_span(row, instrument, after, until)]


def _in_span(result: Result, instrument: Instrument, after: date | None, until: date) -> bool:
    """Whether the survey, or the gauging with this very gauge, was made within the days, by the site's clock."""
    survey = result.survey
    zone = ZoneInfo(survey.measuring_point.pipe.site.time_zone)
    moments = [survey.started_at]
    if result.gauging is not None and result.gauging.gauge_id == instrument.pk:
        moments = [result.gauging.taken_at]
    days = [moment.astimezone(zone).date() for moment in moments]
    return any((after is None or after <= day) and day < until for day in days)


def _start(day: date) -> datetime:
    return datetime.combine(day, time(0), UTC)


def _dated(calibration: Calibration) -> DatedVerdict:
    found, left = (verdict_of(calibration, moment) for moment in (Moment.AS_FOUND, Moment.AS_LEFT))
    return DatedVerdict(
        calibration.calibrated_on, found.verdict if found else None, left.verdict if left else None
    )


@dataclass(frozen=True, slots=True)
class ReviewNotice:
    """What a client is told of a survey whose instrument was found out of tolerance."""

    state: str
    found_on: date
    sentence: str


def reviews_told(reviewed: Iterable[ReviewedSurvey]) -> list[ReviewedSurvey]:
    """Reviews a reader is told of, the newest first; none of those that lapsed."""
    told = [one for one in reviewed if one.state != State.LAPSED]
    return sorted(told, key=lambda one: one.review.until, reverse=True)


def review_notices(reviewed: Iterable[ReviewedSurvey]) -> list[ReviewNotice]:
    """What reviews say of a survey, the newest first."""
    return [review_notice(one) for one in reviews_told(reviewed)]


def with_outdated(reports: Any) -> Any:
    """Reports, each with whether it still says what is so: its result in force, no review opened or decided since, no other mean of paths."""
    since = Q(review__opened_at__gt=OuterRef("issued_at")) | Q(decided_at__gt=OuterRef("issued_at"))
    reviewed = ReviewedSurvey.objects.filter(since, survey=OuterRef("survey"))
    first = Coalesce(OuterRef("survey__path_of"), OuterRef("survey"))
    means = CombinedResult.objects.filter(combination__survey=first, computed_at__gt=OuterRef("issued_at"))
    moved = Q(result__replaced_at__isnull=False) | Q(Exists(reviewed)) | Q(Exists(means))
    return reports.annotate(outdated=ExpressionWrapper(moved, BooleanField()))


def review_notice(one: ReviewedSurvey) -> ReviewNotice:
    """What a review says of a survey."""
    return ReviewNotice(one.state, one.review.until, _sentence(one))


def _sentence(one: ReviewedSurvey) -> str:
    found = (
        f"The {one.review.instrument.get_kind_display()} used for this survey was found out of tolerance on "
        f"{one.review.until:%Y-%m-%d}."
    )
    what = {
        State.UNDER_REVIEW: "This result is under review; do not rely on it before you have been told what came of that.",
        State.STANDS: f"The result was reviewed and stands: {one.reason}",
        State.CORRECTED: f"The result is corrected for the error found: {one.reason}",
        State.WITHDRAWN: f"This result is withdrawn and must not be used: {one.reason}",
    }
    return f"{found} {what[State(one.state)]}"
