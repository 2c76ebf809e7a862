"""Access to the technician's pages: field staff, and the records that each of them may see; 404 otherwise."""

from __future__ import annotations

from uuid import UUID

from django.http import HttpRequest
from django.shortcuts import get_object_or_404

from surveys.models import MeasuringPoint
from surveys.models.role import FIELD
from surveys.pages.frame import framed_for

field_page = framed_for(FIELD)
"""A decorator: limit a page to signed-in field staff."""


def visible_point(request: HttpRequest, pk: UUID) -> MeasuringPoint:
    """Return a measuring point that the user may see, or raise 404."""
    rows = MeasuringPoint.objects.visible_to(request.user).select_related("pipe__site__client")
    point: MeasuringPoint = get_object_or_404(rows, pk=pk)
    return point
