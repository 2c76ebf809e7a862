"""Certificates of what technicians are qualified for."""

from __future__ import annotations

from typing import Any, cast

from django.shortcuts import get_object_or_404
from django.utils import timezone
from drf_spectacular.types import OpenApiTypes
from rest_framework.exceptions import NotFound
from rest_framework.parsers import MultiPartParser
from rest_framework.request import Request
from rest_framework.response import Response

from surveys.api.dispatch.technicians import technicians_visible_to
from surveys.api.files import PDF_REQUEST, DocumentOut, PDFRenderer, RawFileParser, document_answer, file_sent
from surveys.api.rendering import JSONRenderer
from surveys.api.views import UnitsMixin, documented
from surveys.inputs.files import file_name
from surveys.models import Qualification, User
from surveys.models.role import OFFICE
from surveys.services.fleet.documents import qualification_attach


class QualificationFile(UnitsMixin):
    """The certificate of one qualification, as PDF."""

    throttled_as = "upload"
    writers = OFFICE
    parser_classes = [MultiPartParser, RawFileParser]
    renderer_classes = [JSONRenderer, PDFRenderer]

    @documented(
        request=PDF_REQUEST,
        responses={(200, "application/json"): DocumentOut, (201, "application/json"): DocumentOut},
    )
    def post(self, request: Request, pk: Any, qualification: Any) -> Response:
        """Keep the certificate, as the body itself or as the part `file` of a form; the same file again changes nothing."""
        found, file = _qualification(request, pk, qualification), file_sent(request)
        document, new = qualification_attach(
            qualification=found,
            file=file,
            file_name=file_name(request, file),
            by=cast(User, request.user),
            now=timezone.now(),
        )
        return Response(DocumentOut(document).data, status=201 if new else 200)

    @documented(responses={(200, "application/pdf"): OpenApiTypes.BINARY})
    def get(self, request: Request, pk: Any, qualification: Any) -> Any:
        """The certificate as it came, as an attachment; the office reads all, a technician their own."""
        document = getattr(_qualification(request, pk, qualification), "certificate_file", None)
        if document is None:
            raise NotFound
        return document_answer(document)


def _qualification(request: Request, technician: Any, qualification: Any) -> Qualification:
    person = get_object_or_404(technicians_visible_to(request.user), pk=technician)
    found: Qualification = get_object_or_404(Qualification, technician=person, pk=qualification)
    return found
