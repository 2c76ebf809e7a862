"""What the views share: visible rows, the schema's error answers, ETags."""

from __future__ import annotations

import hashlib
from collections.abc import Sequence
from functools import partial
from typing import Any, ClassVar, cast, get_args
from uuid import UUID

from django.conf import settings
from django.db import transaction
from drf_spectacular.utils import extend_schema
from rest_framework import mixins, viewsets
from rest_framework.exceptions import APIException
from rest_framework.request import Request
from rest_framework.response import Response

from compute.base.messages import message
from compute.base.units import System
from surveys.api import idempotency
from surveys.api.fields import response_units, units_of
from surveys.api.filters import Filters, Ordering
from surveys.api.locations import RETRY_AFTER, location_of
from surveys.api.pagination import Pages
from surveys.api.rendering import JSONRenderer
from surveys.api.schema import UNITS
from surveys.api.throttles import ThrottledView
from surveys.inputs.fields import checked
from surveys.inputs.rejections import error_detail
from surveys.models import IdempotencyKey, Record, User
from surveys.services.records import record_change


class EditConflict(APIException):
    """The record has changed since the client read it (412)."""

    status_code = 412


class IfMatchNeeded(APIException):
    """A change must name the version it is about (428)."""

    status_code = 428


class UnitsMixin(ThrottledView):
    """Rejects an unknown `?units=` before anything is done."""

    def initial(self, request: Request, *args: Any, **kwargs: Any) -> None:
        super().initial(request, *args, **kwargs)
        units_of(request)

    def finalize_response(self, request: Request, response: Any, *args: Any, **kwargs: Any) -> Any:
        """Name the address of a created record (201) or of a started run (202), and when to ask for its state."""
        answer = super().finalize_response(request, response, *args, **kwargs)
        if answer.status_code in (201, 202) and "Location" not in answer:
            data = getattr(answer, "data", None)
            answer["Location"] = location_of(request.path, answer.status_code, data)
        if answer.status_code == 202:
            answer["Retry-After"] = RETRY_AFTER
        return answer


class Once(UnitsMixin):
    """A view whose writes are done once however often they are sent with one `Idempotency-Key`."""

    # Actions that recognise a repeated request by themselves.
    repeatable: ClassVar[frozenset[str]] = frozenset()
    action: str = ""
    claimed: IdempotencyKey | None = None

    def initial(self, request: Request, *args: Any, **kwargs: Any) -> None:
        super().initial(request, *args, **kwargs)
        if self.action in self.repeatable:
            return
        self.claimed = idempotency.claim(request)
        if self.claimed is not None:
            # The framework looks up who handles the request after this.
            method = str(request.method).lower()
            handler = getattr(self, method, self.http_method_not_allowed)
            setattr(self, method, partial(self._once, self.claimed, handler))

    def _once(
        self, claimed: IdempotencyKey, handler: Any, request: Request, *args: Any, **kwargs: Any
    ) -> Any:
        with transaction.atomic():
            # Until it is held somebody else may have taken it over, whose it then is.
            self.claimed = None
            idempotency.hold(claimed)
            self.claimed = claimed
            answer = self.finalize_response(request, handler(request, *args, **kwargs), *args, **kwargs)
            if isinstance(answer, Response):
                answer.render()
            idempotency.keep(claimed, answer)
        return answer

    def handle_exception(self, exc: Exception) -> Any:
        """A refusal is kept like any answer, for nothing was done; a fault of ours is not, so that the write can be tried again."""
        claimed = self.claimed
        try:
            answer = super().handle_exception(exc)
        except Exception:
            if claimed is not None:
                idempotency.key_release(claimed)
            raise
        if claimed is not None and answer.status_code >= 500:
            idempotency.key_release(claimed)
        elif claimed is not None and isinstance(answer, Response):
            answer.add_post_render_callback(partial(idempotency.keep, claimed))
        return answer


class Records(Once, mixins.ListModelMixin, mixins.RetrieveModelMixin, viewsets.GenericViewSet):
    """A record type to list and read. `writers` may do the rest."""

    model: ClassVar[type[Any]]
    writers: ClassVar[frozenset[str] | None] = frozenset()
    ordering_fields: ClassVar[tuple[str, ...]] = ()
    related: ClassVar[tuple[str, ...]] = ()
    prefetched: ClassVar[tuple[Any, ...]] = ()
    lookup_value_converter = "uuid"
    filter_backends = (Filters, Ordering)
    # Whether `partial_update` compares the record with `If-Match`, as `change` does.
    checks_if_match: ClassVar[bool] = True

    def get_queryset(self) -> Any:
        if getattr(self, "swagger_fake_view", False):
            return self.model.objects.none()
        rows = self.model.objects.visible_to(self.request.user)
        # Asked for none, `select_related` would join all there are.
        rows = rows.select_related(*self.related) if self.related else rows
        return rows.prefetch_related(*self.prefetched)

    @property
    def user(self) -> User:
        """Who is asking; nobody gets past the permissions unsigned."""
        return cast(User, self.request.user)

    def retrieve(self, request: Request, *args: Any, **kwargs: Any) -> Response:
        return self.answer(self.get_object())

    def answer(self, record: Any, status: int = 200) -> Response:
        """A record as its output serializer has it, with its ETag."""
        data = self.shown(record)
        return Response(data, status=status, headers={"ETag": etag(data)})

    def shown(self, record: Any) -> Any:
        """A record as its output serializer has it."""
        return self.get_serializer(record).data

    def read_again(self, record: Record) -> Any:
        """A record with what its output shows."""
        return self.get_queryset().get(pk=record.pk)

    def checked(self, serializer_class: Any, **options: Any) -> dict[str, Any]:
        """The request's body by an input serializer."""
        return checked(serializer_class, self.request.data, self.get_serializer_context(), **options)

    def change(
        self, request: Request, changes: dict[str, Any], related: dict[str, Any] | None = None
    ) -> Response:
        """Change a plain record, unless `If-Match` says it was another when it was read."""
        with transaction.atomic():
            record = self.get_object()
            self.model.objects.select_for_update().get(pk=record.pk)
            self._check_if_match(self.read_again(record))
            record_change(record, changes, related=related)
        return self.answer(self.read_again(record))

    def _check_if_match(self, record: Record) -> None:
        """Refuse a change of something else than was read, in whatever units it was read."""
        wanted = self.request.headers.get("If-Match")
        if not wanted and settings.REQUIRE_IF_MATCH:
            raise IfMatchNeeded(error_detail(message("if-match-needed")))
        if not wanted or wanted.strip() == "*":
            return
        tags = {tag.strip() for tag in wanted.split(",")}
        for units in get_args(System):
            with response_units(self.request, units):
                if etag(self.shown(record)) in tags:
                    return
        raise EditConflict(error_detail(message("edited-meanwhile")))


class ReadByKeys(Records):
    """A record type of very many rows: a page is found by its keys, and then read as `documents`, which `serializer_class` describes."""

    documents: ClassVar[staticmethod[[Sequence[UUID], System], list[dict[str, Any]]]]

    def list(self, request: Request, *args: Any, **kwargs: Any) -> Response:
        pages = cast(Pages, self.paginator)
        keys = pages.keys(self.filter_queryset(self.get_queryset()), request)
        return self.get_paginated_response(self.documents(keys, units_of(request)))

    def shown(self, record: Any) -> Any:
        (document,) = self.documents([record.pk], units_of(self.request))
        return document


def etag(data: Any) -> str:
    """A strong ETag of an answer."""
    return f'"{hashlib.sha256(JSONRenderer().render(data)).hexdigest()[:32]}"'


def documented(**options: Any) -> Any:
    """`extend_schema` that keeps the parameter every call takes."""
    parameters = [UNITS, *options.pop("parameters", [])]
    return extend_schema(parameters=parameters, **options)
