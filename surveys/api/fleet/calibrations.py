"""Calibrations: certificates with their points, files and calculated conformity."""

from __future__ import annotations

from typing import Any

from django.utils import timezone
from django_filters import DateFilter
from drf_spectacular.types import OpenApiTypes
from drf_spectacular.utils import extend_schema_field
from rest_framework import serializers
from rest_framework.decorators import action
from rest_framework.exceptions import NotFound
from rest_framework.parsers import MultiPartParser
from rest_framework.request import Request
from rest_framework.response import Response

from surveys.api.dispatch.bookings import BookingOut, conflicting_bookings
from surveys.api.fields import KnownQuantityField, in_units, units_of
from surveys.api.files import PDF_REQUEST, DocumentOut, PDFRenderer, RawFileParser, document_answer, file_sent
from surveys.api.filters import filters
from surveys.api.fleet.acceptance import CalibrationPointOut, ConformityOut, LimitsOut
from surveys.api.rendering import JSONRenderer
from surveys.api.views import Records, documented
from surveys.calibration.conformity import conformity_json, limits_json, points_json
from surveys.inputs.calibrations import (
    CalibrationIn,
    calibration_of_request,
)
from surveys.inputs.files import file_name
from surveys.models import Booking, Calibration, TransducerData
from surveys.models.calibration import Moment
from surveys.models.result import Cause
from surveys.models.role import FLEET
from surveys.services.fleet.calibrations import calibration_record
from surveys.services.fleet.documents import certificate_attach


def started(record: TransducerData | Calibration) -> str | None:
    """The recomputation a record set going."""
    runs = (one for one in record.recomputations.all() if one.cause != Cause.OUT_OF_TOLERANCE)
    return next((str(one.pk) for one in runs), None)


class ReviewOpenedOut(serializers.Serializer):
    id = serializers.UUIDField()
    surveys = serializers.IntegerField(help_text="Number of surveys with affected results.")


class CalibrationShortOut(serializers.ModelSerializer):
    recorded_by = serializers.CharField(source="recorded_by.username", read_only=True)
    recomputation = serializers.SerializerMethodField(
        help_text="Background run started by the record, if any."
    )
    out_of_tolerance_review = serializers.SerializerMethodField(
        help_text="Id of the review that the certificate opened for an instrument out of tolerance; null if none."
    )

    class Meta:
        model = Calibration
        fields = [
            "id", "instrument", "certificate", "laboratory", "accreditation", "calibrated_on", "due_on", "note", "corrects",
            "recorded_at", "recorded_by", "recomputation", "out_of_tolerance_review",
        ]  # fmt: skip

    @extend_schema_field({"type": ["string", "null"], "format": "uuid"})
    def get_recomputation(self, calibration: Calibration) -> Any:
        return started(calibration)

    @extend_schema_field(ReviewOpenedOut(allow_null=True))
    def get_out_of_tolerance_review(self, calibration: Calibration) -> Any:
        review = getattr(calibration, "out_of_tolerance_review", None)
        return review and ReviewOpenedOut({"id": review.pk, "surveys": len(review.surveys.all())}).data


class CalibrationOut(CalibrationShortOut):
    conditions_temperature = KnownQuantityField("temperature", source="conditions_temperature_k")
    as_found = serializers.SerializerMethodField()
    as_left = serializers.SerializerMethodField()
    limits = serializers.SerializerMethodField(help_text="Acceptance limits and their source.")
    conformity = serializers.SerializerMethodField()
    certificate_file = serializers.SerializerMethodField()

    class Meta(CalibrationShortOut.Meta):
        fields = [
            *CalibrationShortOut.Meta.fields,
            "interval_policy", "conditions", "conditions_temperature", "as_found", "as_left", "limits", "conformity", "certificate_file",
        ]  # fmt: skip

    def _shown(self, document: Any) -> Any:
        return in_units(document, units_of(self.context["request"]))

    @extend_schema_field(CalibrationPointOut(many=True))
    def get_as_found(self, calibration: Calibration) -> Any:
        return self._shown(points_json(calibration, Moment.AS_FOUND))

    @extend_schema_field(CalibrationPointOut(many=True))
    def get_as_left(self, calibration: Calibration) -> Any:
        return self._shown(points_json(calibration, Moment.AS_LEFT))

    @extend_schema_field(LimitsOut(allow_null=True))
    def get_limits(self, calibration: Calibration) -> Any:
        return self._shown(limits_json(calibration))

    @extend_schema_field(ConformityOut)
    def get_conformity(self, calibration: Calibration) -> Any:
        return self._shown(conformity_json(calibration))

    @extend_schema_field(DocumentOut(allow_null=True))
    def get_certificate_file(self, calibration: Calibration) -> Any:
        document = getattr(calibration, "certificate_file", None)
        return document and DocumentOut(document).data


class CalibrationCreatedOut(CalibrationOut):
    booking_conflicts = BookingOut(many=True, help_text="Bookings of the instrument with a current conflict.")

    class Meta(CalibrationOut.Meta):
        fields = [*CalibrationOut.Meta.fields, "booking_conflicts"]


class Calibrations(Records):
    """Certificates; what is written stays as it is."""

    model = Calibration
    serializer_class = CalibrationOut
    writers = FLEET
    repeatable = frozenset({"certificate"})
    related = (
        "recorded_by",
        "instrument",
        "interval_policy",
        "certificate_file__received_by",
        "out_of_tolerance_review",
    )
    prefetched = ("recomputations", "points", "out_of_tolerance_review__surveys")
    filterset_class = filters(
        Calibration,
        "instrument",
        "due_on",
        due_from=DateFilter("due_on", "gte", label="Due on this day or later."),
        due_to=DateFilter("due_on", "lte", label="Due on this day or earlier."),
    )
    ordering_fields = ("due_on", "calibrated_on")

    @documented(request=CalibrationIn, responses={201: CalibrationCreatedOut})
    def create(self, request: Request) -> Response:
        """Record a certificate; one that corrects another takes its place, and surveys it was in force for are recomputed."""
        calibration, content, reason = calibration_of_request(self.checked(CalibrationIn))
        calibration, _ = calibration_record(
            calibration=calibration, by=self.user, now=timezone.now(), reason=reason, content=content
        )
        answer = self.answer(self.read_again(calibration), 201)
        held = Booking.objects.visible_to(self.user).filter(instrument=calibration.instrument_id)
        answer.data["booking_conflicts"] = conflicting_bookings(held, self.user)
        return answer

    @documented(request=PDF_REQUEST, responses={200: DocumentOut, 201: DocumentOut})
    @action(
        detail=True, methods=["post"], parser_classes=[MultiPartParser, RawFileParser], throttled_as="upload"
    )
    def certificate(self, request: Request, pk: Any = None) -> Response:
        """Keep the certificate's PDF, as the body itself or as the part `file` of a form; the same file again changes nothing."""
        calibration, file = self.get_object(), file_sent(request)
        document, new = certificate_attach(
            calibration=calibration,
            file=file,
            file_name=file_name(request, file),
            by=self.user,
            now=timezone.now(),
        )
        return Response(DocumentOut(document).data, status=201 if new else 200)

    @documented(responses={(200, "application/pdf"): OpenApiTypes.BINARY})
    @certificate.mapping.get
    def read_certificate(self, request: Request, pk: Any = None) -> Any:
        """The certificate's PDF as it came, as an attachment."""
        document = getattr(self.get_object(), "certificate_file", None)
        if document is None:
            raise NotFound
        return document_answer(document)

    def get_renderers(self) -> Any:
        return (
            [JSONRenderer(), PDFRenderer()] if self.action == "read_certificate" else super().get_renderers()
        )
