"""Pages of records: each reads what its user may see, and nothing else."""

from __future__ import annotations

from datetime import UTC, date, datetime
from typing import Any
from uuid import UUID

from django.http import HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404
from django.views.decorators.http import require_safe

from compute.base.units import express
from surveys.pages.frame import framed, page, units_of
from surveys.results.traceability import Step, traceability_steps, traceable_results


@framed
@require_safe
def traceability(request: HttpRequest, pk: UUID) -> HttpResponse:
    """Back from a result to what it rests on."""
    result = get_object_or_404(traceable_results().visible_to(request.user), pk=pk)
    units = units_of(request)
    steps = [{"of": step, "facts": _facts(step, units)} for step in traceability_steps(result)]
    return page(request, "client/traceability.html", {"result": result, "steps": steps, "units": units})


def _facts(step: Step, units: Any) -> list[tuple[str, Any]]:
    return [(name, _worded(value, units)) for name, value in step.facts.items()]


def _worded(value: Any, units: Any) -> Any:
    """A quantity as text with its unit, a date or time as the rest of the page has it; anything else as it is."""
    if isinstance(value, datetime):
        return f"{value.astimezone(UTC):%Y-%m-%d %H:%M}"
    if isinstance(value, date):
        return value.isoformat()
    if not isinstance(value, dict):
        return value
    shown = express(value["si"], value["kind"], units)
    return f"{shown['value']:.5g} {shown['unit']}"
