"""A technician's day as PDF."""

from __future__ import annotations

from datetime import date
from typing import Any

from django.shortcuts import get_object_or_404
from django.utils import timezone
from drf_spectacular.types import OpenApiTypes
from drf_spectacular.utils import OpenApiParameter
from rest_framework.request import Request

from surveys.api.dispatch.technicians import technicians_visible_to
from surveys.api.fields import units_of
from surveys.api.files import PDFRenderer
from surveys.api.rendering import JSONRenderer
from surveys.api.results.reports import PDF, pdf_answer
from surveys.api.views import UnitsMixin, documented
from surveys.calibration.due_list import office_today
from surveys.documents.day_sheet import Day, day_sheet
from surveys.documents.pdf import typeset
from surveys.inputs.rejections import rejection


class DaySheet(UnitsMixin):
    """The sheet of a technician's day."""

    throttled_as = "report"
    renderer_classes = [JSONRenderer, PDFRenderer]

    @documented(
        responses=PDF,
        parameters=[
            OpenApiParameter(
                "date", OpenApiTypes.DATE, description="Date in the office's calendar. Default: today."
            )
        ],
    )
    def get(self, request: Request, pk: Any) -> Any:
        """Jobs, addresses, contacts, hazards, kit and set-ups of one's own day; the office sees everybody's.

        The same bytes until a record it shows changes.
        """
        technician = get_object_or_404(technicians_visible_to(request.user), pk=pk)
        on = _day(request.query_params.get("date"), office_today(timezone.now()))
        address = request.build_absolute_uri(f"/api/v1/technicians/{pk}/day-sheet.pdf?date={on}")
        pdf = day_sheet(Day(technician, on, request.user), units_of(request), address)
        return pdf_answer(typeset(pdf), f"day-sheet-{on}.pdf")


def _day(text: str | None, today: date) -> date:
    if text is None:
        return today
    try:
        return date.fromisoformat(text)
    except ValueError:
        raise rejection("date-invalid", field="date") from None
