"""Lists by cursor: a page costs the same wherever it is, and rows added meanwhile shift nothing.

A cursor holds the values a page ended with, by every field of the order, so that rows alike in the first field
are neither lost nor repeated. It is signed: nobody can ask the database for a position of their own making.
"""

from __future__ import annotations

from typing import Any, cast

from django.core import signing
from django.db.models import Field, Model, Q, QuerySet
from rest_framework.pagination import CursorPagination
from rest_framework.request import Request
from rest_framework.utils.urls import replace_query_param
from rest_framework.views import APIView

from surveys.inputs.rejections import rejection

SIGNER = signing.Signer(salt="surveys.api.pagination")


class Pages(CursorPagination):
    page_size = 50
    page_size_query_param = "page_size"
    max_page_size = 500

    address = ""
    next_position: str | None = None
    previous_position: str | None = None

    def paginate_queryset(self, queryset: Any, request: Request, view: APIView | None = None) -> list[Any]:
        """The rows of the page asked for; remembers where its neighbours are."""
        size = self.get_page_size(request)
        order = _total_order(queryset)
        backwards, position = _read(request.query_params.get("cursor"), order)
        direction = [_turned(name) for name in order] if backwards else order
        rows: QuerySet[Any] = queryset.order_by(*direction)
        if position is not None:
            rows = rows.filter(_beyond(direction, position))
        found = list(rows[: size + 1])
        more, page = len(found) > size, found[:size]
        if backwards:
            page.reverse()
        if page and (more or backwards):
            self.next_position = _write(False, order, _position(page[-1], order))
        if page and (more if backwards else position is not None):
            self.previous_position = _write(True, order, _position(page[0], order))
        self.address = request.build_absolute_uri()
        return page

    def keys(self, queryset: QuerySet[Any], request: Request) -> list[Any]:
        """The keys of those rows."""
        names = [name.lstrip("-") for name in _total_order(queryset)]
        return [row.pk for row in self.paginate_queryset(queryset.only(*names), request)]

    def get_page_size(self, request: Request) -> int:
        requested = request.query_params.get("page_size", str(self.page_size))
        number = int(requested) if requested.isascii() and requested.isdigit() and len(requested) < 5 else 0
        if not 1 <= number <= self.max_page_size:
            raise rejection("out-of-range", field="page_size", at_least=1, at_most=self.max_page_size)
        return number

    def get_paginated_response_schema(self, schema: dict[str, Any]) -> dict[str, Any]:
        link = {"type": ["string", "null"], "format": "uri"}
        return {
            "type": "object",
            "required": ["next", "previous", "results"],
            "properties": {"next": link, "previous": link, "results": schema},
        }

    def get_next_link(self) -> str | None:
        return self._link(self.next_position)

    def get_previous_link(self) -> str | None:
        return self._link(self.previous_position)

    def _link(self, position: str | None) -> str | None:
        if position is None:
            return None
        return replace_query_param(self.address, "cursor", position)


def _total_order(queryset: QuerySet[Any]) -> list[str]:
    """The order the view's own filters settled, with the key last so that it is total."""
    order = [str(name) for name in queryset.query.order_by or queryset.model._meta.ordering]
    return order if "id" in {name.lstrip("-") for name in order} else [*order, "id"]


def _turned(name: str) -> str:
    return name[1:] if name.startswith("-") else f"-{name}"


def _beyond(order: list[str], position: list[str]) -> Q:
    """Rows after a position: alike in the first fields and beyond it in the next one."""
    beyond, alike = Q(), Q()
    for name, value in zip(order, position, strict=True):
        field, comparison = name.lstrip("-"), "lt" if name.startswith("-") else "gt"
        beyond |= alike & Q(**{f"{field}__{comparison}": value})
        alike &= Q(**{field: value})
    first, value = order[0], position[0]
    # Said once more for the first field alone: an index serves this, but not alternatives.
    return Q(**{f"{first.lstrip('-')}__{'lte' if first.startswith('-') else 'gte'}": value}) & beyond


def _position(row: Model, order: list[str]) -> list[str]:
    fields = (cast("Field[Any, Any]", row._meta.get_field(name.lstrip("-"))) for name in order)
    return [field.value_to_string(row) for field in fields]


def _write(backwards: bool, order: list[str], values: list[str]) -> str:
    return SIGNER.sign_object([backwards, order, values])


def _read(cursor: str | None, order: list[str]) -> tuple[bool, list[str] | None]:
    if not cursor:
        return False, None
    try:
        backwards, its_order, position = SIGNER.unsign_object(cursor)
    except signing.BadSignature:
        its_order = None
    if its_order != order:
        raise rejection("cursor-unknown", field="cursor")
    return backwards, position
