"""Clients and sites."""

from __future__ import annotations

from typing import Any

from rest_framework import serializers
from rest_framework.request import Request
from rest_framework.response import Response

from surveys.api.filters import SearchFilter, filters
from surveys.api.views import Records, documented
from surveys.inputs.fields import NumberField, StrictSerializer, TextField, VisibleRecord
from surveys.models import Client, Site
from surveys.models.role import OFFICE
from surveys.services.records import record_create


class ClientIn(StrictSerializer):
    name = TextField(max_length=200)
    contact = TextField(max_length=2000, required=False, allow_blank=True)
    notice_threshold = NumberField(
        required=False,
        min_value=0,
        max_value=1,
        help_text="Relative change of a result above which the client is notified.",
    )
    retired_at = serializers.DateTimeField(required=False, allow_null=True)


class ClientOut(serializers.ModelSerializer):
    class Meta:
        model = Client
        fields = ["id", "name", "contact", "notice_threshold", "retired_at"]


class Clients(Records):
    """Organisations that have their flows measured."""

    model = Client
    serializer_class = ClientOut
    writers = OFFICE
    filterset_class = filters(Client, "name", search=SearchFilter("name"))
    ordering_fields = ("name",)

    @documented(request=ClientIn, responses={201: ClientOut})
    def create(self, request: Request) -> Response:
        return self.answer(record_create(Client(**self.checked(ClientIn))), 201)

    @documented(request=ClientIn(partial=True), responses=ClientOut)
    def partial_update(self, request: Request, pk: Any = None) -> Response:
        return self.change(request, self.checked(ClientIn, partial=True))


class SiteIn(StrictSerializer):
    client = VisibleRecord(Client)
    name = TextField(max_length=200)
    address = TextField(max_length=2000, required=False, allow_blank=True)
    time_zone = TextField(
        max_length=64, required=False, help_text="Time zone, such as Europe/Copenhagen. Default: UTC."
    )
    access_notes = TextField(max_length=5000, required=False, allow_blank=True)
    contacts = TextField(max_length=5000, required=False, allow_blank=True)
    hazards = TextField(max_length=5000, required=False, allow_blank=True)
    latitude = NumberField(
        source="latitude_deg", required=False, allow_null=True, min_value=-90, max_value=90
    )
    longitude = NumberField(
        source="longitude_deg", required=False, allow_null=True, min_value=-180, max_value=180
    )
    retired_at = serializers.DateTimeField(required=False, allow_null=True)


class SiteChangeIn(SiteIn):
    client = None


class SiteOut(serializers.ModelSerializer):
    latitude = serializers.FloatField(source="latitude_deg", allow_null=True, read_only=True)
    longitude = serializers.FloatField(source="longitude_deg", allow_null=True, read_only=True)

    class Meta:
        model = Site
        fields = [
            "id",
            "client",
            "name",
            "address",
            "time_zone",
            "access_notes",
            "contacts",
            "hazards",
            "latitude",
            "longitude",
            "retired_at",
        ]


class Sites(Records):
    """Places of one client where pipes are."""

    model = Site
    serializer_class = SiteOut
    writers = OFFICE
    filterset_class = filters(Site, "client", "name", search=SearchFilter("name"))
    ordering_fields = ("name",)

    @documented(request=SiteIn, responses={201: SiteOut})
    def create(self, request: Request) -> Response:
        return self.answer(record_create(Site(**self.checked(SiteIn))), 201)

    @documented(request=SiteChangeIn(partial=True), responses=SiteOut)
    def partial_update(self, request: Request, pk: Any = None) -> Response:
        return self.change(request, self.checked(SiteChangeIn, partial=True))
