"""Instruments and the data of transducer pairs."""

from __future__ import annotations

from datetime import date, timedelta
from typing import Any

from django.shortcuts import get_object_or_404
from django.utils import timezone
from drf_spectacular.types import OpenApiTypes
from drf_spectacular.utils import OpenApiParameter
from rest_framework import serializers
from rest_framework.decorators import action
from rest_framework.exceptions import PermissionDenied
from rest_framework.parsers import MultiPartParser
from rest_framework.request import Request
from rest_framework.response import Response

from surveys.api.dispatch.bookings import BookingOut, conflicting_bookings
from surveys.api.files import PDF_REQUEST, DocumentOut, PDFRenderer, RawFileParser, document_answer, file_sent
from surveys.api.filters import SearchFilter, SetFilter, filters
from surveys.api.fleet.instrument_forms import (
    InstrumentChangeIn,
    InstrumentIn,
    InstrumentOut,
    InstrumentStateIn,
    InstrumentStateOut,
    TransducerDataOut,
)
from surveys.api.fleet.out_of_tolerance_reviews import AffectedResultOut
from surveys.api.rendering import JSONRenderer
from surveys.api.views import Records, documented
from surveys.calibration.affected_results import affected_results
from surveys.calibration.due_list import office_today
from surveys.inputs.fields import StrictSerializer, TextField, si_of, texts
from surveys.inputs.files import file_name
from surveys.inputs.fleet import TransducerDataIn
from surveys.inputs.rejections import rejection
from surveys.inputs.set_ups import transducer_entry
from surveys.models import Booking, Document, Instrument
from surveys.models.role import FLEET, OFFICE
from surveys.services.fleet.documents import document_add
from surveys.services.fleet.instruments import (
    InstrumentLocation,
    instrument_create,
    instrument_state_change,
    transducer_data_correct,
    transducer_data_record,
)


class InstrumentStateCreatedOut(InstrumentStateOut):
    booking_conflicts = BookingOut(many=True, help_text="Bookings of the instrument with a current conflict.")

    class Meta(InstrumentStateOut.Meta):
        fields = [*InstrumentStateOut.Meta.fields, "booking_conflicts"]


class Instruments(Records):
    """Meters, transducer pairs, thickness gauges and thermometers of the fleet."""

    model = Instrument
    serializer_class = InstrumentOut
    writers = FLEET | OFFICE
    related = ("holder",)
    # Files and labels are answered by the file's own type.
    repeatable = frozenset({"documents"})
    prefetched = (
        "accessories",
        "transducer_data",
        "calibrations__recorded_by",
        "calibrations__corrected_by",
        "calibrations__recomputations",
        "calibrations__out_of_tolerance_review__surveys",
    )
    filterset_class = filters(
        Instrument,
        "kind",
        "state",
        "serial",
        "belongs_to",
        "holder",
        is_accessory=SetFilter("belongs_to", "Only accessories of another instrument, or only the others."),
        search=SearchFilter("serial", "asset_number", "type_name"),
    )
    ordering_fields = ("serial", "kind")

    @documented(request=InstrumentIn, responses={201: InstrumentOut})
    def create(self, request: Request) -> Response:
        requested = self.checked(InstrumentIn)
        stated = requested.pop("transducers", None)
        instrument = instrument_create(
            instrument=Instrument(**_columns(requested)),
            entry=transducer_entry(stated) if stated else None,
            as_entered=texts(stated or {}),
            by=self.user,
            now=timezone.now(),
        )
        return self.answer(self.read_again(instrument), 201)

    @documented(request=InstrumentChangeIn(partial=True), responses=InstrumentOut)
    def partial_update(self, request: Request, pk: Any = None) -> Response:
        return self.change(request, _columns(self.checked(InstrumentChangeIn, partial=True)))

    @documented(request=TransducerDataIn, responses={201: TransducerDataOut, 202: TransducerDataOut})
    @action(
        detail=True,
        methods=["post"],
        url_path="transducer-data",
        pagination_class=None,
        filterset_class=None,
    )
    def transducer_data(self, request: Request, pk: Any = None) -> Response:
        """Record new data of a transducer pair; set-ups that use the old data keep it.

        Where it corrects a version, the surveys made with that version are recomputed: 202.
        """
        requested = self.checked(TransducerDataIn)
        instrument, corrects = self.get_object(), requested.pop("corrects", None)
        stated = {
            "entry": transducer_entry(requested),
            "reason": requested["reason"],
            "as_entered": texts(requested),
            "by": self.user,
            "now": timezone.now(),
        }
        if corrects is None:
            data = transducer_data_record(instrument=instrument, **stated)
        elif corrects.instrument_id != instrument.pk:
            raise rejection("other-instrument/transducer-data", field="corrects")
        else:
            data, _ = transducer_data_correct(corrects=corrects, **stated)
        answer = TransducerDataOut(data, context=self.get_serializer_context()).data
        return Response(answer, status=202 if corrects else 201)

    @documented(responses=TransducerDataOut(many=True))
    @transducer_data.mapping.get
    def list_transducer_data(self, request: Request, pk: Any = None) -> Response:
        """Every version of a pair's data, the latest first."""
        rows = self.get_object().transducer_data.select_related("recorded_by").order_by("-recorded_at")
        rows = rows.prefetch_related("recomputations")
        return Response(TransducerDataOut(rows, many=True, context=self.get_serializer_context()).data)

    @documented(request=InstrumentStateIn, responses={201: InstrumentStateCreatedOut})
    @action(
        detail=True, methods=["post"], pagination_class=None, filterset_class=None, url_path="status-changes"
    )
    def status_changes(self, request: Request, pk: Any = None) -> Response:
        """Withhold it, send it away, bring it back, retire it, or hand it over; with the reason."""
        instrument, requested = self.get_object(), self.checked(InstrumentStateIn)
        change = instrument_state_change(
            instrument=instrument,
            to=InstrumentLocation(
                requested.get("state"),
                requested.get("location", instrument.location),
                requested.get("holder", instrument.holder),
            ),
            reason=requested["reason"],
            by=self.user,
            now=timezone.now(),
        )
        broken = conflicting_bookings(
            Booking.objects.visible_to(self.user).filter(instrument=instrument), self.user
        )
        return Response(
            InstrumentStateOut(change, context=self.get_serializer_context()).data
            | {"booking_conflicts": broken},
            status=201,
        )

    @documented(responses=InstrumentStateOut(many=True))
    @status_changes.mapping.get
    def list_status_changes(self, request: Request, pk: Any = None) -> Response:
        """Every state it was in, the latest first."""
        rows = self.get_object().status_changes.select_related("recorded_by", "holder")
        return Response(InstrumentStateOut(rows, many=True, context=self.get_serializer_context()).data)

    @documented(
        request=PDF_REQUEST,
        responses={200: DocumentOut, 201: DocumentOut},
        parameters=[
            OpenApiParameter("title", str, description="Description of the file, such as `data sheet`.")
        ],
    )
    @action(
        detail=True,
        methods=["post"],
        parser_classes=[MultiPartParser, RawFileParser],
        throttled_as="upload",
        pagination_class=None,
        filterset_class=None,
    )
    def documents(self, request: Request, pk: Any = None) -> Response:
        """File a PDF with it, as the body itself or as the part `file` of a form; the same file again changes nothing."""
        instrument, file = self.get_object(), file_sent(request)
        title = TextField(max_length=200, allow_blank=True).run_validation(
            request.query_params.get("title", "")
        )
        document, new = document_add(
            instrument=instrument,
            document=Document(title=title, file_name=file_name(request, file)),
            file=file,
            by=self.user,
            now=timezone.now(),
        )
        return Response(DocumentOut(document).data, status=201 if new else 200)

    @documented(responses=DocumentOut(many=True))
    @documents.mapping.get
    def list_documents(self, request: Request, pk: Any = None) -> Response:
        """Its documents, the latest first."""
        rows = self.get_object().documents.select_related("received_by")
        return Response(DocumentOut(rows, many=True).data)

    @documented(responses={(200, "application/pdf"): OpenApiTypes.BINARY})
    @action(
        detail=True,
        methods=["get"],
        url_path="documents/<uuid:document>",
        renderer_classes=[JSONRenderer, PDFRenderer],
    )
    def document(self, request: Request, pk: Any = None, document: Any = None) -> Any:
        """One of its documents as it came, as an attachment."""
        return document_answer(get_object_or_404(self.get_object().documents, pk=document))

    @documented(
        responses=AffectedResultOut(many=True),
        parameters=[
            OpenApiParameter(
                "since",
                OpenApiTypes.DATE,
                description="First day of the surveys and wall thickness measurements. Default: the first day of use.",
            ),
            OpenApiParameter(
                "until",
                OpenApiTypes.DATE,
                description="Last day of the surveys and wall thickness measurements. Default: today.",
            ),
        ],
    )
    @action(
        detail=True, methods=["get"], pagination_class=None, filterset_class=None, url_path="affected-results"
    )
    def affected_results(self, request: Request, pk: Any = None) -> Response:
        """List the current results of surveys and wall thickness measurements made with the instrument."""
        if self.user.role not in FLEET | OFFICE:
            raise PermissionDenied
        since, until = (_day(request, name) for name in ("since", "until"))
        last = until or office_today(timezone.now())
        rows = affected_results(self.get_object(), since, last + timedelta(days=1))
        return Response(AffectedResultOut(rows, many=True, context=self.get_serializer_context()).data)


def _day(request: Request, name: str) -> date | None:
    """A day of the query; None if left out."""
    if name not in request.query_params:
        return None
    form = type("DayIn", (StrictSerializer,), {name: serializers.DateField()})
    requested = form(data={name: request.query_params[name]})
    requested.is_valid(raise_exception=True)
    day: date = requested.validated_data[name]
    return day


COLUMNS = {
    "minimum_signal": "minimum_signal_db",
    "timing_resolution": "timing_resolution_s",
    "standard_uncertainty": "standard_uncertainty_m",
}


def _columns(requested: dict[str, Any]) -> dict[str, Any]:
    return {
        COLUMNS.get(name, name): si_of(value) if name in COLUMNS else value
        for name, value in requested.items()
    }
