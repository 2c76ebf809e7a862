"""Correction or new data of a transducer pair, with the history of its versions."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any, cast
from uuid import UUID

from django.conf import settings
from django.http import Http404, HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404
from django.utils import timezone
from django.utils.functional import Promise
from django.utils.translation import gettext as _
from django.views.decorators.http import require_http_methods

from compute.base.units import System
from surveys.calibration.capabilities import types_of
from surveys.core.messages.numbers import entered_text
from surveys.inputs.fields import texts
from surveys.inputs.fleet import TransducerDataIn
from surveys.inputs.set_ups import transducer_entry
from surveys.models import Instrument, Recomputation, TransducerData, User
from surveys.models.instrument import Kind
from surveys.models.role import FLEET
from surveys.pages.frame import page, units_of
from surveys.pages.office.access import form_for_correctors
from surveys.pages.office.sheet_response import change_response, units_begun
from surveys.pages.office.transducer_form import LABELS, TransducerSheet, figures_of
from surveys.pages.pipe_form import entered_texts
from surveys.pipes.selectors import transducer_data_latest
from surveys.results.inputs_in_force import transducer_data_in_force
from surveys.services.fleet.instruments import transducer_data_correct, transducer_data_record

FORM = "office/transducers.html"


@form_for_correctors
@require_http_methods(["GET", "POST"])
def correction(request: HttpRequest, pk: UUID) -> HttpResponse:
    """Show the form; "show" shows a preview, "commit" saves the change."""
    pairs = Instrument.objects.visible_to(request.user).filter(kind=Kind.TRANSDUCER_PAIR)
    pair = get_object_or_404(pairs.filter(transducer_data__isnull=False).distinct(), pk=pk)
    rows = pair.transducer_data.select_related("recorded_by").prefetch_related("recomputations")
    versions = list(rows.order_by("recorded_at", "id"))
    base = _version(request, pair, versions)
    sheet = TransducerSheet(base, units_begun(request), request.POST.dict())
    around = {
        "pair": pair,
        "sheet": sheet,
        "type": types_of([pair]).get((pair.kind, pair.type_name)),
        "in_use": transducer_data_latest(versions)[pair.pk],
        "in_its_place": transducer_data_in_force(base),
        "zone": settings.OFFICE_TIME_ZONE,
        "looks_after_fleet": cast(User, request.user).role in FLEET,
        "history": _history(versions, units_of(request)),
    }
    if request.method != "POST":
        return page(request, FORM, around)
    return change_response(request, sheet, lambda: _changed(request, pair, sheet), FORM, around)


def _version(request: HttpRequest, pair: Instrument, versions: Sequence[TransducerData]) -> TransducerData:
    """Return the named version, else the one that new set-ups use."""
    named = request.POST.get("corrects") or request.GET.get("version")
    if not named:
        return transducer_data_latest(versions)[pair.pk]
    found = next((one for one in versions if str(one.pk) == named), None)
    if found is None:
        raise Http404
    return found


def _changed(request: HttpRequest, pair: Instrument, sheet: TransducerSheet) -> Recomputation | None:
    """Save the correction or new data as the API does for a request."""
    requested = TransducerDataIn(data=sheet.stated(), context={"request": request})
    requested.is_valid(raise_exception=True)
    given = dict(requested.validated_data)
    stated = {
        "entry": transducer_entry(given),
        "reason": given["reason"],
        "as_entered": sheet.typed_of(texts(given), sheet.base.as_entered),
        "by": cast(User, request.user),
        "now": timezone.now(),
    }
    if sheet.corrects:
        return transducer_data_correct(corrects=sheet.base, **stated)[1]
    transducer_data_record(instrument=pair, **stated)
    return None


def _history(versions: Sequence[TransducerData], units: System) -> list[dict[str, Any]]:
    """Return the versions with their changed values, the latest first."""
    known = {one.pk: one for one in versions}
    corrected = {one.corrects_id for one in versions}
    rows = []
    before: TransducerData | None = None
    for one in versions:
        base = known[one.corrects_id] if one.corrects_id else before
        rows.append(
            {
                "of": one,
                "corrects": base if one.corrects_id else None,
                "was_wrong": one.pk in corrected,
                "runs": one.recomputations.all(),
                "differences": _differences(base, one, units) if base else [],
            }
        )
        if one.corrects_id is None:
            before = one
    return rows[::-1]


def _differences(
    before: TransducerData, after: TransducerData, units: System
) -> list[tuple[str | Promise, str, str]]:
    """Return label, value before and value after of each change."""
    figures = [figures_of(one) for one in (before, after)]
    was, is_now = (
        entered_texts(values, one.as_entered, units)
        for values, one in zip(figures, (before, after), strict=True)
    )
    return [
        (label, _shown(was.get(name)), _shown(is_now.get(name)))
        for name, label in LABELS.items()
        if figures[0].get(name) != figures[1].get(name)
    ]


def _shown(entered: str | None) -> str:
    return _("not entered") if entered is None else entered_text(entered)
