"""Who gets these pages: who works in the field, and of the records what they may see; 404 for the rest."""

from __future__ import annotations

from uuid import UUID

from django.http import HttpRequest
from django.shortcuts import get_object_or_404

from surveys.api.permissions import FIELD
from surveys.models import MeasuringPoint
from surveys.pages.frame import framed_for

field_page = framed_for(FIELD)
"""A page for those who write in the field, signed in with all that is asked of them."""


def visible_point(request: HttpRequest, pk: UUID) -> MeasuringPoint:
    """A measuring point its user may see."""
    rows = MeasuringPoint.objects.visible_to(request.user).select_related("pipe__site__client")
    point: MeasuringPoint = get_object_or_404(rows, pk=pk)
    return point
