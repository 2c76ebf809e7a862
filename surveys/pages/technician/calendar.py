"""Addresses under which a calendar program reads a technician's jobs: creation and revocation."""

from __future__ import annotations

from typing import cast

from django.core.exceptions import ValidationError
from django.http import Http404, HttpRequest, HttpResponse
from django.utils import timezone
from django.views.decorators.http import require_http_methods

from surveys.inputs.fleet import CalendarFeedIn
from surveys.models import CalendarFeed, User
from surveys.models.calibration import FeedSubject
from surveys.pages.frame import page
from surveys.pages.technician.access import field_page
from surveys.services.people.calendar_feeds import calendar_feed_make, calendar_feed_revoke


@field_page
@require_http_methods(["GET", "POST"])
def calendar(request: HttpRequest) -> HttpResponse:
    """List the addresses; a new address is shown once, since only its digest is stored."""
    user, now = cast(User, request.user), timezone.now()
    feeds = CalendarFeed.objects.filter(owner=user, subject=FeedSubject.JOBS, revoked_at__isnull=True)
    address = wrong = ""
    if request.method == "POST" and (revoked := request.POST.get("revoke")):
        try:
            calendar_feed_revoke(feed=feeds.get(pk=revoked), now=now)
        except (CalendarFeed.DoesNotExist, ValidationError):
            raise Http404 from None
    elif request.method == "POST":
        requested = CalendarFeedIn(
            data={"label": request.POST.get("label", ""), "subject": FeedSubject.JOBS.value}
        )
        if requested.is_valid():
            _, token = calendar_feed_make(owner=user, now=now, **requested.validated_data)
            address = request.build_absolute_uri(f"/api/v1/calendar-feeds/{token}.ics")
        wrong = " ".join(requested.errors.get("label", []))
    context = {"feeds": feeds.order_by("-created_at"), "address": address, "wrong": wrong}
    answer = page(request, "technician/calendar.html", context, 400 if wrong else 200)
    answer["Cache-Control"] = "no-store"
    return answer
