"""Labels to stick on instruments."""

from __future__ import annotations

from typing import Any

from django.http import HttpResponse
from django.shortcuts import get_object_or_404
from django.urls import reverse
from django.utils import timezone
from drf_spectacular.types import OpenApiTypes
from rest_framework.request import Request

from surveys.api.files import PDFRenderer
from surveys.api.rendering import JSONRenderer
from surveys.api.views import UnitsMixin, documented
from surveys.calibration.due_list import office_today
from surveys.documents.instrument_label import label_pdf
from surveys.models import Instrument
from surveys.pipes.selectors import calibration_in_force


class InstrumentLabel(UnitsMixin):
    """A label with a QR code for one instrument."""

    throttled_as = "report"
    renderer_classes = [JSONRenderer, PDFRenderer]

    @documented(responses={(200, "application/pdf"): OpenApiTypes.BINARY})
    def get(self, request: Request, pk: Any) -> Any:
        """Label with kind, serial number, calibration date, due date and a QR code to the page of the instrument."""
        rows = Instrument.objects.visible_to(request.user).prefetch_related("calibrations__corrected_by")
        instrument = get_object_or_404(rows, pk=pk)
        calibration = calibration_in_force(instrument.calibrations.all(), office_today(timezone.now()))
        address = request.build_absolute_uri(reverse("portal-instrument", args=[instrument.pk]))
        answer = HttpResponse(label_pdf(instrument, calibration, address), content_type="application/pdf")
        answer["Content-Disposition"] = f'inline; filename="label-{instrument.pk}.pdf"'
        return answer
