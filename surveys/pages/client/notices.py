"""Notices of changed results and their acknowledgement."""

from __future__ import annotations

from typing import Any, cast
from uuid import UUID

from django.db.models import F
from django.http import Http404, HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, redirect
from django.utils import timezone
from django.views.decorators.http import require_POST, require_safe

from compute.base.units import System
from surveys.core.errors import NotAllowed
from surveys.core.messages.numbers import percent_text
from surveys.documents.formatting import flow_with_uncertainty, moment
from surveys.models import CombinedResult, Notice, Role, Site, User
from surveys.pages.frame import framed, page, units_of
from surveys.services.results.notices import notice_acknowledge

SHOWN = 100


@framed
@require_safe
def notices(request: HttpRequest) -> HttpResponse:
    """List the notices: not acknowledged first, then newest first."""
    user = cast(User, request.user)
    related = ("before__survey__measuring_point__pipe__site", "after", "before_combined__combination__site")
    rows = Notice.objects.visible_to(user).select_related(*related, "after_combined", "acknowledged_by")
    seen_last = F("acknowledged_at").desc(nulls_first=True)
    shown = list(rows.order_by(seen_last, "-created_at", "-id")[:SHOWN])
    units = units_of(request)
    context = {
        "notices": [_row(one, units) for one in shown],
        "may_acknowledge": user.role == Role.CLIENT,
        "limit": SHOWN if len(shown) == SHOWN else None,
    }
    return page(request, "client/notices.html", context)


@framed
@require_POST
def acknowledge(request: HttpRequest, pk: UUID) -> HttpResponse:
    """Acknowledge a notice for the client."""
    user = cast(User, request.user)
    notice = get_object_or_404(Notice.objects.visible_to(user), pk=pk)
    try:
        notice_acknowledge(notice=notice, by=user, now=timezone.now())
    except NotAllowed:
        raise Http404 from None
    return redirect("portal-notices")


def _row(notice: Notice, units: System) -> dict[str, Any]:
    before, after = notice.before or notice.before_combined, notice.after or notice.after_combined
    zone, by = _site(notice).zone, notice.acknowledged_by
    return {
        "of": notice,
        "surveyed": moment(notice.before.survey.started_at, zone) if notice.before else "",
        "created": moment(notice.created_at, zone),
        "before": _flow(before, units),
        "after": _flow(after, units),
        "relative": None
        if notice.relative_change is None
        else percent_text(notice.relative_change, sign=True),
        "acknowledged": notice.acknowledged_at and moment(notice.acknowledged_at, zone),
        "acknowledged_by": by and (by.get_full_name() or by.username),
    }


def _site(notice: Notice) -> Site:
    """The site of a notice: of its survey, or of its combined flow."""
    if notice.before:
        return notice.before.survey.measuring_point.pipe.site
    return cast(CombinedResult, notice.before_combined).combination.site


def _flow(result: Any, units: System) -> str:
    if result is None:
        return ""
    return flow_with_uncertainty(result.volume_flow_m3_s, result.expanded_uncertainty_m3_s, units)
