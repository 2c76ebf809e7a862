"""A site's year as PDF."""

from __future__ import annotations

import re
from typing import Any

from django.shortcuts import get_object_or_404
from django.urls import reverse
from drf_spectacular.utils import OpenApiParameter
from rest_framework.request import Request

from surveys.api.fields import units_of
from surveys.api.files import PDFRenderer
from surveys.api.rendering import JSONRenderer
from surveys.api.results.reports import PDF, pdf_answer
from surveys.api.views import UnitsMixin, documented
from surveys.documents.pdf import typeset
from surveys.documents.site_summary import site_summary
from surveys.documents.site_year import Year
from surveys.inputs.rejections import rejection
from surveys.models import Site

# Years people may have surveyed in, or plan to.
FIRST_YEAR, LAST_YEAR = 1970, 2999


class SiteSummary(UnitsMixin):
    """The summary of a year at a site."""

    throttled_as = "report"
    renderer_classes = [JSONRenderer, PDFRenderer]

    @documented(
        responses=PDF,
        parameters=[
            OpenApiParameter(
                "year", int, required=True, description="Of the site's calendar; from 1970 to 2999."
            )
        ],
    )
    def get(self, request: Request, pk: Any) -> Any:
        """Results, changes, findings, instruments of a year, for its client; the same bytes until a record of it changes."""
        site = get_object_or_404(Site.objects.visible_to(request.user).select_related("client"), pk=pk)
        number = _year(request.query_params.get("year", ""))
        address = request.build_absolute_uri(reverse("portal-site", args=[pk]))
        pdf = site_summary(Year(site, number, request.user), units_of(request), address)
        return pdf_answer(typeset(pdf), f"site-summary-{number}.pdf")


def _year(text: str) -> int:
    if re.fullmatch("[0-9]{4}", text) and FIRST_YEAR <= int(text) <= LAST_YEAR:
        return int(text)
    raise rejection("year-invalid", field="year", first=FIRST_YEAR, last=LAST_YEAR)
