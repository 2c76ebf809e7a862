"""An instrument as whoever holds it in hand wants to know it: may it be used, and until when. Its label leads here."""

from __future__ import annotations

from datetime import timedelta
from typing import cast
from uuid import UUID

from django.http import HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, redirect
from django.utils import timezone
from django.views.decorators.http import require_safe

from surveys.calibration.due_list import due_rows, office_today
from surveys.dispatch.availability import Span, instrument_reasons
from surveys.models import Instrument, Role, User
from surveys.models.instrument import State
from surveys.pages.frame import EVERYBODY, FLEET, framed_for, page


@framed_for(EVERYBODY - {Role.CLIENT})
@require_safe
def instrument(request: HttpRequest, pk: UUID) -> HttpResponse:
    """State, place and calibration of an instrument; who looks after the fleet goes on to its own page there."""
    user = cast(User, request.user)
    rows = Instrument.objects.visible_to(user).select_related("holder", "belongs_to")
    found = get_object_or_404(rows, pk=pk)
    if user.role in FLEET:
        return redirect("fleet-instrument", pk=found.pk)
    now = timezone.now()
    [row] = due_rows([found], office_today(now))
    in_service = found.state == State.IN_SERVICE
    context = {
        "instrument": found,
        "row": row,
        "left": left_told(row.days_left),
        "usable": not instrument_reasons(found, row.due_on, Span(now, now + timedelta(microseconds=1))),
        "in_service": in_service,
        "since": None if in_service else found.status_changes.order_by("recorded_at", "id").last(),
    }
    return page(request, "client/instrument.html", context)


def left_told(days: int | None) -> str:
    """Days left as one says them."""
    if days is None:
        return ""
    if days == 0:
        return "today is its last day"
    count = f"{abs(days)} day{'' if abs(days) == 1 else 's'}"
    return f"{count} left" if days > 0 else f"{count} over"
