"""The page that the label of an instrument leads to: whether the instrument may be used, and until when."""

from __future__ import annotations

from datetime import timedelta
from typing import cast
from uuid import UUID

from django.http import HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, redirect
from django.utils import timezone
from django.utils.translation import gettext as _
from django.utils.translation import ngettext
from django.views.decorators.http import require_safe

from surveys.calibration.due_list import DueRow, due_rows, office_today
from surveys.core.messages import Reader
from surveys.dispatch.availability import Span, instrument_reasons
from surveys.models import Instrument, Role, User
from surveys.models.instrument import State
from surveys.models.reasons import reason_text
from surveys.models.role import FLEET
from surveys.pages.frame import EVERYBODY, framed_for, page, units_of


@framed_for(EVERYBODY - {Role.CLIENT})
@require_safe
def instrument(request: HttpRequest, pk: UUID) -> HttpResponse:
    """Show state, location and calibration of an instrument; redirect calibration staff to its page in the fleet."""
    user = cast(User, request.user)
    rows = Instrument.objects.visible_to(user).select_related("holder", "belongs_to")
    found = get_object_or_404(rows, pk=pk)
    if user.role in FLEET:
        return redirect("fleet-instrument", pk=found.pk)
    now = timezone.now()
    [row] = due_rows([found], office_today(now))
    in_service = found.state == State.IN_SERVICE
    since = None if in_service else found.status_changes.order_by("recorded_at", "id").last()
    context = {
        "instrument": found,
        "row": row,
        "validity": validity(row),
        "holder": found.holder and (found.holder.get_full_name() or found.holder.username),
        "usable": not instrument_reasons(found, row.due_on, Span(now, now + timedelta(microseconds=1))),
        "in_service": in_service,
        "since": since,
        "reason": since and reason_text(since.reason, Reader(units_of(request))),
    }
    return page(request, "client/instrument.html", context)


def validity(row: DueRow) -> str:
    """The validity of a calibration, with the days left or overdue."""
    if row.due_on is None or row.days_left is None:
        return _("No calibration certificate")
    values = {"date": row.due_on.isoformat(), "left": time_left_text(row.days_left)}
    if row.days_left < 0:
        return _("Expired on %(date)s (%(left)s)") % values
    if row.due_reason == "hours":
        return _("Valid until %(date)s (%(left)s), limited by hours of use") % values
    return _("Valid until %(date)s (%(left)s)") % values


def time_left_text(days: int | None) -> str:
    """The days left or overdue, in words."""
    if days is None:
        return ""
    if days == 0:
        return _("last day today")
    if days < 0:
        return ngettext("%(days)d day overdue", "%(days)d days overdue", -days) % {"days": -days}
    return ngettext("%(days)d day left", "%(days)d days left", days) % {"days": days}
