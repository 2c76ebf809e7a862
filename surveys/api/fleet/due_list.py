"""What is due for calibration: JSON, CSV, a calendar, and the calendar's own address."""

from __future__ import annotations

from typing import Any

from django.http import Http404, HttpRequest, HttpResponse
from django.utils import timezone
from drf_spectacular.types import OpenApiTypes
from drf_spectacular.utils import OpenApiParameter
from rest_framework import serializers
from rest_framework.permissions import AllowAny
from rest_framework.request import Request
from rest_framework.response import Response

from surveys.api.dispatch.job_calendar import job_calendar
from surveys.api.files import CalendarRenderer, CSVRenderer
from surveys.api.fleet.due_formats import due_calendar, due_csv, flat
from surveys.api.rendering import JSONRenderer
from surveys.api.throttles import ThrottledView
from surveys.api.views import Records, UnitsMixin, documented
from surveys.calibration.due_list import (
    GROUPS,
    STATUSES,
    DueRow,
    counts_of,
    due_groups,
    due_list,
    office_today,
    within_until,
)
from surveys.dispatch.technician_jobs import jobs_of
from surveys.inputs.fleet import CalendarFeedIn
from surveys.inputs.rejections import rejection
from surveys.models import CalendarFeed, Role
from surveys.models.calibration import FeedSubject
from surveys.models.role import FIELD, FLEET
from surveys.services.people.calendar_feeds import (
    calendar_feed_make,
    calendar_feed_open,
    calendar_feed_revoke,
)

KNOWN = frozenset({"within", "format", "group", "units"})


class DueRowOut(serializers.Serializer):
    instrument = serializers.UUIDField()
    calibration = serializers.UUIDField(
        allow_null=True, help_text="Id of the latest calibration; null if none."
    )
    status = serializers.ChoiceField(
        STATUSES,
        help_text="Status of the calibration. due: within the shortest reminder period of the policy; due-soon: within the longest.",
    )
    kind = serializers.CharField()
    type_name = serializers.CharField()
    serial = serializers.CharField()
    asset_number = serializers.CharField()
    state = serializers.CharField()
    location = serializers.CharField()
    holder = serializers.CharField(allow_null=True)
    certificate = serializers.CharField(allow_null=True)
    calibrated_on = serializers.DateField(allow_null=True)
    due_on = serializers.DateField(
        allow_null=True, help_text="Last day on which the calibration is valid; null without a calibration."
    )
    due_reason = serializers.ChoiceField(
        ["date", "hours"], allow_null=True, help_text="Reason for the due date."
    )
    days_left = serializers.IntegerField(
        allow_null=True, help_text="Days until the due date; 0 on the due date, negative if overdue."
    )
    hours_used = serializers.FloatField(help_text="Hours of surveys since the calibration.")
    hours_left = serializers.FloatField(
        allow_null=True, help_text="Remaining hours of use of the interval policy; null without a limit."
    )
    usage_limit_on = serializers.DateField(
        allow_null=True,
        help_text="Date on which the hours of use end, at the mean use so far; null without a limit.",
    )


class CountsOut(serializers.Serializer):
    def get_fields(self) -> Any:
        return {status: serializers.IntegerField() for status in STATUSES}


class DueGroupsOut(serializers.Serializer):
    def get_fields(self) -> Any:
        return {name: DueRowOut(many=True) for name in GROUPS}


class DueListOut(serializers.Serializer):
    today = serializers.DateField(help_text="Date in the office's calendar.")
    until = serializers.DateField(
        allow_null=True, help_text="Last day of the period `within`; null without a period."
    )
    counts = CountsOut()
    results = DueRowOut(
        many=True,
        required=False,
        help_text="Instruments, the most urgent first; absent with `?group=status`.",
    )
    groups = DueGroupsOut(
        required=False, help_text="Instruments by status, with `?group=status`; otherwise absent."
    )


class CalibrationDue(UnitsMixin):
    """Instruments that are due, overdue, quarantined or never calibrated."""

    # For the OpenAPI document: a client gets 404.
    hidden_from_clients = True
    renderer_classes = [JSONRenderer, CSVRenderer, CalendarRenderer]

    @documented(
        responses={
            (200, "application/json"): DueListOut,
            (200, "text/csv"): OpenApiTypes.STR,
            (200, "text/calendar"): OpenApiTypes.STR,
        },
        parameters=[
            OpenApiParameter(
                "within", str, description="Period of the due dates in days, weeks or months: 60d, 8w, 3m."
            ),
            OpenApiParameter("group", str, enum=["status"], description="The rows grouped by status."),
            OpenApiParameter("format", str, enum=["json", "csv", "ics"]),
        ],
    )
    def get(self, request: Request) -> Any:
        """Every instrument that is not retired, with its due date, overdue first; as JSON, CSV or a calendar."""
        if getattr(request.user, "role", Role.CLIENT) == Role.CLIENT:
            raise Http404
        today, text = office_today(timezone.now()), request.query_params.get("within")
        grouped = _grouping_requested(request)
        until = None if text is None else within_until(text, today)
        rows = due_list(request.user, today, until)
        if request.accepted_renderer.format == "csv":
            return _file(due_csv(rows).encode(), "text/csv; charset=utf-8", f"calibration-due-{today}.csv")
        if request.accepted_renderer.format == "ics":
            return _file(due_calendar(rows), "text/calendar; charset=utf-8", "calibration-due.ics")
        head = {"today": today, "until": until, "counts": counts_of(rows)}
        if grouped:
            groups = {name: [_shown(row) for row in group] for name, group in due_groups(rows).items()}
            return Response(DueListOut(head | {"groups": groups}).data)
        return Response(DueListOut(head | {"results": [_shown(row) for row in rows]}).data)


class CalendarFeedOut(serializers.ModelSerializer):
    class Meta:
        model = CalendarFeed
        fields = ["id", "subject", "label", "created_at", "last_used_at", "revoked_at"]


class CalendarFeedCreatedOut(CalendarFeedOut):
    token = serializers.CharField(
        help_text="Secret of the feed, sent only in this answer. The secret opens the calendar without signing in."
    )
    address = serializers.CharField(help_text="Address for the calendar program.")

    class Meta(CalendarFeedOut.Meta):
        fields = [*CalendarFeedOut.Meta.fields, "token", "address"]


class CalendarFeeds(Records):
    """One's own addresses of the due dates, or of one's own jobs, for calendar programs."""

    model = CalendarFeed
    serializer_class = CalendarFeedOut
    writers = FIELD | FLEET
    # An answer kept for a repeated request would keep the token.
    repeatable = frozenset({"create"})
    ordering_fields = ("created_at",)

    def get_queryset(self) -> Any:
        rows = super().get_queryset()
        return rows if getattr(self, "swagger_fake_view", False) else rows.filter(owner=self.request.user)

    @documented(request=CalendarFeedIn, responses={201: CalendarFeedCreatedOut})
    def create(self, request: Request) -> Response:
        """Make an address; its token is shown now and never again."""
        requested = self.checked(CalendarFeedIn)
        feed, token = calendar_feed_make(owner=self.user, **requested, now=timezone.now())
        address = request.build_absolute_uri(f"/api/v1/calendar-feeds/{token}.ics")
        shown = CalendarFeedOut(feed).data | {"token": token, "address": address}
        return Response(shown, status=201, headers={"Cache-Control": "no-store"})

    @documented(responses={204: None})
    def destroy(self, request: Request, pk: Any = None) -> Response:
        """Revoke an address: from now on it answers 404."""
        calendar_feed_revoke(feed=self.get_object(), now=timezone.now())
        return Response(status=204)


class CalendarFeedFile(ThrottledView):
    """The due dates or one's own jobs as a calendar, by the address alone."""

    authentication_classes = []
    permission_classes = [AllowAny]
    throttled_as = "report"
    # The answer is never stored, so that it has no version.
    cacheable = False
    renderer_classes = [CalendarRenderer, JSONRenderer]

    @documented(responses={(200, "text/calendar"): OpenApiTypes.STR}, auth=[])
    def get(self, request: Request, token: str) -> Any:
        """The calendar of whoever made the address; 404 once it is revoked."""
        now = timezone.now()
        feed = calendar_feed_open(token, now)
        if feed is None:
            raise Http404
        owner = feed.owner
        if feed.subject == FeedSubject.JOBS:
            jobs = jobs_of(owner, owner).prefetch_related("measuring_points__pipe")
            return _file(job_calendar(jobs, now), "text/calendar; charset=utf-8", "jobs.ics")
        rows = due_list(owner, office_today(now))
        return _file(due_calendar(rows), "text/calendar; charset=utf-8", "calibration-due.ics")


def _grouping_requested(request: Request | HttpRequest) -> bool:
    query = request.GET
    unknown = sorted(set(query) - KNOWN)
    if unknown:
        raise rejection("unknown-filter", field=unknown[0][:60], name=unknown[0][:60], known=sorted(KNOWN))
    group = query.get("group", "")
    if group not in ("", "status"):
        raise rejection("group-unknown", field="group", given=group[:40])
    return group == "status"


def _shown(row: DueRow) -> dict[str, Any]:
    return {
        "instrument": row.instrument.pk,
        "calibration": row.calibration.pk if row.calibration else None,
        "due_reason": row.due_reason,
        "usage_limit_on": row.usage_limit_on,
        **flat(row),
    }


def _file(content: bytes, content_type: str, name: str) -> HttpResponse:
    answer = HttpResponse(content, content_type=content_type)
    answer["Content-Disposition"] = f'attachment; filename="{name}"'
    answer["Cache-Control"] = "private, no-store"
    return answer
