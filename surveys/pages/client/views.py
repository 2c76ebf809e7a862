"""The traceability page of a result."""

from __future__ import annotations

from datetime import date, datetime
from typing import Any
from uuid import UUID

from django.http import HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404
from django.utils.translation import gettext
from django.views.decorators.http import require_safe

from compute.base.units import System, express
from surveys.core.messages.numbers import UNKNOWN, number_text, with_unit
from surveys.documents.formatting import moment
from surveys.pages.frame import framed, page, units_of
from surveys.results.traceability import Step, traceability_steps, traceable_results


@framed
@require_safe
def traceability(request: HttpRequest, pk: UUID) -> HttpResponse:
    """Show the records that a result is based on."""
    result = get_object_or_404(traceable_results().visible_to(request.user), pk=pk)
    units, zone = units_of(request), result.survey.measuring_point.pipe.site.zone
    steps = [{"of": step, "facts": _facts(step, units, zone)} for step in traceability_steps(result)]
    context = {"result": result, "steps": steps, "units": units, "zone": zone}
    return page(request, "client/traceability.html", context)


def _facts(step: Step, units: System, zone: Any) -> list[tuple[Any, Any]]:
    return [(fact.label, _value_text(fact.value, units, zone)) for fact in step.facts]


def _value_text(value: Any, units: System, zone: Any) -> Any:
    """Return a quantity with its unit, a time in the site's time zone, a date, or yes or no; any other value unchanged."""
    if value is None:
        return UNKNOWN
    if isinstance(value, bool):
        return gettext("yes") if value else gettext("no")
    if isinstance(value, datetime):
        return moment(value, zone)
    if isinstance(value, date):
        return value.isoformat()
    if not isinstance(value, dict):
        return value
    shown = express(value["si"], value["kind"], units)
    return with_unit(number_text(shown["value"], ".5g"), str(shown["unit"]))
