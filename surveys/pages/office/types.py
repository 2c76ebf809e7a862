"""Correction of the capabilities of an instrument type; no result depends on them, kits are selected by them."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any, cast
from uuid import UUID

from django.conf import settings
from django.http import HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404
from django.utils.translation import gettext as _
from django.views.decorators.http import require_http_methods

from compute.base.units import System
from surveys.documents.formatting import format_quantity
from surveys.inputs.fleet import FIGURES, InstrumentTypeChangeIn, type_changes
from surveys.models import AuditEntry, Instrument, InstrumentType, User
from surveys.models.role import FLEET
from surveys.pages.frame import page, units_of
from surveys.pages.office.access import form_for_correctors
from surveys.pages.office.sheet_response import change_response, units_begun
from surveys.pages.office.type_form import LABELS, TypeSheet
from surveys.services.records import record_change

FORM = "office/type.html"
MAX_SHOWN = 50


@form_for_correctors
@require_http_methods(["GET", "POST"])
def correction(request: HttpRequest, pk: UUID) -> HttpResponse:
    """Show the form; "show" shows a preview, "commit" saves the change."""
    base = get_object_or_404(InstrumentType.objects.visible_to(request.user), pk=pk)
    sheet = TypeSheet(base, units_begun(request), request.POST.dict())
    of_it = Instrument.objects.visible_to(request.user).filter(kind=base.kind, type_name=base.name)
    # Only the office reads the audit log.
    entries = AuditEntry.objects.visible_to(request.user).filter(record=base.pk)[:MAX_SHOWN]
    around = {
        "type": base,
        "zone": settings.OFFICE_TIME_ZONE,
        "looks_after_fleet": cast(User, request.user).role in FLEET,
        "sheet": sheet,
        "instruments": of_it.order_by("serial"),
        "history": [_history_entry(one, units_of(request)) for one in entries],
    }
    if request.method != "POST":
        return page(request, FORM, around)
    return change_response(request, sheet, lambda: _changed(request, sheet), FORM, around)


def _changed(request: HttpRequest, sheet: TypeSheet) -> None:
    """Save the change as the API does for a request."""
    requested = InstrumentTypeChangeIn(data=sheet.stated(), context={"request": request}, partial=True)
    requested.is_valid(raise_exception=True)
    record = InstrumentType.objects.select_for_update().get(pk=sheet.base.pk)
    record_change(record, type_changes(record, dict(requested.validated_data)))


def _history_entry(entry: AuditEntry, units: System) -> dict[str, Any]:
    """Return an entry of the audit log with each value before and after."""
    columns = {column: (name, kind) for name, (column, kind) in FIGURES.items()}
    columns |= {name: (name, "") for name in LABELS if name not in FIGURES}

    def figure(values: Mapping[str, Any], column: str, kind: str) -> str:
        value = values.get(column)
        if value in (None, ""):
            return _("not entered")
        if isinstance(value, bool):
            return _("yes") if value else _("no")
        return format_quantity(value, kind, units) if kind else str(value)

    fields = [
        (LABELS[name], figure(entry.before, column, kind), figure(entry.after, column, kind))
        for column, (name, kind) in columns.items()
        if entry.before.get(column) != entry.after.get(column)
    ]
    # A new type with an empty note has no change of its note.
    return {
        "of": entry,
        "differences": [(label, was, is_now) for label, was, is_now in fields if was != is_now],
    }
