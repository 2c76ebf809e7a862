"""The due-date board with bookings at risk; the page of an instrument with its certificates."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterable
from datetime import datetime
from typing import Any
from uuid import UUID

from django.http import Http404, HttpRequest, HttpResponse
from django.utils import timezone
from django.utils.functional import Promise
from django.utils.translation import gettext as _
from django.utils.translation import gettext_lazy
from django.views.decorators.http import require_safe

from surveys.calibration.capabilities import types_of
from surveys.calibration.conformity import conformity_in_force
from surveys.calibration.due_list import STATUSES, DueRow, Status, due_list, due_rows, office_today
from surveys.core.messages import Reader, render
from surveys.dispatch.availability import conflicts_of
from surveys.documents.formatting import moment
from surveys.models import Booking, Calibration, Instrument, User
from surveys.models.instrument import Kind
from surveys.pages.calibration.access import fleet_page, user_of, visible
from surveys.pages.calibration.wording import CONFORMITY_WORDS, days_left
from surveys.pages.frame import page

HEADINGS: dict[Status, Promise] = {
    "overdue": gettext_lazy("Overdue"),
    "never-calibrated": gettext_lazy("Never calibrated"),
    "quarantined": gettext_lazy("Quarantined"),
    "due": gettext_lazy("Due now"),
    "due-soon": gettext_lazy("Due soon"),
    "in-calibration": gettext_lazy("In calibration"),
}
KIND_HEADINGS = {
    Kind.METER: gettext_lazy("Meters"),
    Kind.TRANSDUCER_PAIR: gettext_lazy("Transducer pairs"),
    Kind.THICKNESS_GAUGE: gettext_lazy("Thickness gauges"),
    Kind.THERMOMETER: gettext_lazy("Thermometers"),
}


@fleet_page
@require_safe
def due(request: HttpRequest) -> HttpResponse:
    """Show every instrument in use by calibration status, the most urgent first."""
    user, now, kind = user_of(request), timezone.now(), request.GET.get("kind", "")
    if kind and kind not in Kind.values:
        raise Http404
    today = office_today(now)
    rows = [row for row in due_list(user, today) if kind in ("", row.instrument.kind)]
    conflicts = _conflicts([row.instrument for row in rows], user, now)
    by_status = {status: [row for row in rows if row.status == status] for status in STATUSES}
    context = {
        "today": today,
        "kind": kind,
        "kinds": [(kind.value, heading) for kind, heading in KIND_HEADINGS.items()],
        "groups": [
            {
                "status": status,
                "heading": HEADINGS[status],
                "rows": [_row(row, conflicts) for row in by_status[status]],
            }
            for status in STATUSES
        ],
    }
    return page(request, "calibration/due.html", context)


@fleet_page
@require_safe
def instrument(request: HttpRequest, pk: UUID) -> HttpResponse:
    """Show an instrument with its due date and its certificates with their conformity."""
    user, now = user_of(request), timezone.now()
    found = visible(request, Instrument, pk, "holder")
    [row] = due_rows([found], office_today(now))
    certificates = Calibration.objects.visible_to(user).filter(instrument=found)
    certificates = certificates.select_related("instrument", "corrected_by", "certificate_file")
    context = {
        "instrument": found,
        "row": _row(row, _conflicts([found], user, now)),
        "heading": HEADINGS[row.status],
        "type": types_of([found]).get((found.kind, found.type_name)),
        "certificates": [
            {"of": one, "conformity": _conformity(one), "corrected": getattr(one, "corrected_by", None)}
            for one in certificates.prefetch_related("points")
        ],
    }
    return page(request, "calibration/instrument.html", context)


def _row(row: DueRow, conflicts: dict[UUID, list[dict[str, Any]]]) -> dict[str, Any]:
    return {
        "of": row,
        "left": days_left(row.days_left),
        "holder": row.instrument.holder.username if row.instrument.holder else "",
        "conflicts": conflicts.get(row.instrument.pk, []),
    }


def _conflicts(
    instruments: Iterable[Instrument], user: User, now: datetime
) -> dict[UUID, list[dict[str, Any]]]:
    """Return the bookings at risk by instrument id, with the reasons."""
    rows = Booking.objects.visible_to(user).filter(instrument__in=instruments)
    rows = rows.filter(cancelled_at__isnull=True, ends_at__gt=now).select_related("instrument", "job__site")
    bookings = list(rows)
    reasons = conflicts_of(bookings, now, user)
    found = defaultdict(list)
    for one in bookings:
        if one.pk in reasons and one.instrument_id:
            details = [render(reason, Reader(zone=one.job.site.zone)).detail for reason in reasons[one.pk]]
            starts = moment(one.starts_at, one.job.site.zone)
            found[one.instrument_id].append({"job": one.job, "starts": starts, "reasons": details})
    return dict(found)


def _conformity(calibration: Calibration) -> str:
    conformity = conformity_in_force(calibration)
    return str(CONFORMITY_WORDS[conformity.conformity]) if conformity else _("not evaluated")
